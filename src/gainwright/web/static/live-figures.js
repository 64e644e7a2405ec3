// Figures of the live measurement as text, with the decimal sign of the page's language.
import { text } from "./words.js";

const sign = new Intl.NumberFormat(document.documentElement.lang || "en").formatToParts(1.5).find((p) => p.type === "decimal").value;

export const written = (digits) => digits.replace("-", "−").replace(".", sign);
export const fixed = (value, digits) => (value === null || value === undefined ? "–" : written(value.toFixed(digits)));
export const shown = (value) => written(value.toPrecision(2));

export function volts(value) {
  if (value === null || value === undefined) return ["–", "V"];
  const [scaled, unit] = value >= 1 ? [value, "V"] : value >= 1e-3 ? [value * 1e3, "mV"] : [value * 1e6, "µV"];
  return [written(scaled.toFixed(scaled >= 100 ? 1 : scaled >= 10 ? 2 : 3)), unit];
}

export function percent(value) {
  return value === null ? "–" : value < 0.001 ? `< ${written("0.001")}` : fixed(value, value < 10 ? 3 : 2);
}

export const VERDICTS = {
  clean: ["fits", text("clean")], clipped: ["high", text("clipped")], distorted: ["high", text("distorted")],
  overloaded_input: ["stop", text("input full")], no_tone: ["unknown", text("no tone")],
  other_tone: ["unknown", text("other tone")], too_short: ["unknown", text("too short")],
};
export const UNMEASURED = ["no_tone", "other_tone", "too_short"]; // no result of the tone that is asked for
export const FITS = { fits: ["fits", text("as expected")], low: ["low", text("lower than expected")], high: ["high", text("higher than expected")] };
export const FOUND = "automatic gain (found at two levels)";
// what a browser may do to its input, as the server knows it -> as shown
export const PROCESSING = {
  "automatic gain": text("automatic gain"), "noise suppression": text("noise suppression"), "echo cancellation": text("echo cancellation"),
  [FOUND]: text("automatic gain (found at two levels)"),
};
export function listed(words, or = false) {
  return words.map((w) => PROCESSING[w] ?? w).reduce((a, b) => (or ? text("{a} or {b}", { a, b }) : text("{a} and {b}", { a, b })));
}
