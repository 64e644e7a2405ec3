// One period of the tone and its spectrum, as SVG with colours from the style sheet.
import { text } from "./words.js";

const SPACE = "http://www.w3.org/2000/svg";
const LEFT = 46, BOTTOM = 24, TOP = 10, RIGHT = 8;

function add(parent, name, attributes, text) {
  const made = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

export class Drawing {
  constructor(svg, grid, paint) {
    Object.assign(this, { svg, grid, paint, last: null });
    new ResizeObserver(() => this.layOut()).observe(svg);
    this.layOut();
  }

  layOut() {
    const { width, height } = this.svg.getBoundingClientRect();
    if (!width || (width === this.width && height === this.height)) return;
    Object.assign(this, { width, height });
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.replaceChildren();
    this.under = add(this.svg, "g", { class: "grid" });
    this.over = add(this.svg, "g", {});
    this.line = add(this.svg, "path", { class: "trace", d: "" });
    this.words = add(this.svg, "g", {});
    this.grid(this);
    if (this.last) this.draw(this.last);
  }

  x(share) { return LEFT + share * (this.width - LEFT - RIGHT); }
  y(share) { return TOP + (1 - share) * (this.height - TOP - BOTTOM); }

  rule(at, word, upright) {
    if (upright) {
      add(this.under, "line", { x1: at, x2: at, y1: TOP, y2: this.height - BOTTOM });
      if (word) add(this.under, "text", { x: at, y: this.height - 7, "text-anchor": "middle" }, word);
    } else {
      add(this.under, "line", { x1: LEFT, x2: this.width - RIGHT, y1: at, y2: at });
      if (word) add(this.under, "text", { x: LEFT - 6, y: at + 4, "text-anchor": "end" }, word);
    }
  }

  draw(pictures) {
    this.last = pictures;
    if (!this.width) return;
    this.over.replaceChildren();
    this.words.replaceChildren();
    this.paint(this, pictures);
  }
}

export function waveDrawing(svg) {
  const grid = (d) => {
    for (const share of [0, 0.25, 0.5, 0.75, 1]) d.rule(d.x(share), ["0", "¼", "½", "¾", "1"][share * 4], true);
    d.rule(d.y(0.5), "0", false);
  };
  return new Drawing(svg, grid, (d, { wave, upper, lower, top, unit }) => {
    if (!wave.length) { d.line.setAttribute("d", ""); return; }
    const at = (value) => d.y(0.5 + 0.46 * value / top);
    let path = "", pen = "M";
    wave.forEach((value, i) => {
      if (value === null) { pen = "M"; return; }
      path += `${pen}${d.x((i + 0.5) / wave.length).toFixed(1)} ${at(value).toFixed(1)}`;
      pen = "L";
    });
    d.line.setAttribute("d", path);
    for (const [edge, word, off] of [[upper, text("clipped here"), 15], [lower, text("clipped here"), -6]]) {
      if (edge === null) continue;
      add(d.over, "line", { class: "ceiling", x1: LEFT, x2: d.width - RIGHT, y1: at(edge), y2: at(edge) });
      add(d.words, "text", { class: "word", x: d.width - RIGHT - 2, y: at(edge) + off, "text-anchor": "end" }, word);
    }
    for (const sign of [1, -1]) {
      add(d.words, "text", { x: LEFT - 6, y: at(sign * top) + 4, "text-anchor": "end" }, unit(sign * top));
    }
  });
}

const LOW_HZ = 20, HIGH_HZ = 20000, LOWEST = -140;
const across = (hz) => Math.log(hz / LOW_HZ) / Math.log(HIGH_HZ / LOW_HZ);
const up = (dbfs) => 1 - Math.max(dbfs, LOWEST) / LOWEST;

export function spectrumDrawing(svg) {
  const grid = (d) => {
    const narrow = d.width < 420;
    for (const hz of [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]) {
      const word = hz < 1000 ? `${hz}` : `${hz / 1000}k`;
      d.rule(d.x(across(hz)) - (hz === 20000 ? 6 : 0), narrow && ![20, 100, 1000, 10000].includes(hz) ? "" : word, true);
    }
    for (let dbfs = 0; dbfs >= LOWEST; dbfs -= 20) d.rule(d.y(up(dbfs)), dbfs % 40 ? "" : `${dbfs}`.replace("-", "−"), false);
  };
  return new Drawing(svg, grid, (d, { spectrum_hz, spectrum_dbfs, harmonics, frequency_hz }) => {
    let path = "";
    spectrum_hz.forEach((hz, i) => {
      if (hz > HIGH_HZ) return;
      path += `${path ? "L" : "M"}${d.x(across(hz)).toFixed(1)} ${d.y(up(spectrum_dbfs[i])).toFixed(1)}`;
    });
    d.line.setAttribute("d", path);
    if (frequency_hz === null) return;
    const floor = Math.max(...spectrum_dbfs) - 90;  // weaker ones don't matter here
    let free = -99;
    for (const [order, hz, dbfs] of harmonics) {
      const x = d.x(across(hz));
      if (hz > HIGH_HZ || dbfs < floor || x < free + 14) continue;
      free = x;
      add(d.words, "text", { class: "word", x, y: d.y(up(dbfs)) - 6, "text-anchor": "middle" }, `${order}`);
    }
  });
}
