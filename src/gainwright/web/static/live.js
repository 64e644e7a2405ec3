// The live measurement's page: shows what an input brings, and its controls.
import { say } from "./page.js";
import { text } from "./words.js";
import { spectrumDrawing, waveDrawing } from "./live-drawing.js";
import { FITS, FOUND, UNMEASURED, VERDICTS, fixed, listed, percent, shown as short, volts } from "./live-figures.js";
import { BrowserInput, ServerInput, trouble } from "./live-inputs.js";

const part = (id) => document.getElementById(id);
const root = part("live");
const { source, job, step } = root.dataset;

let running = null;     // the input in use
let latest = null;      // the last update
let held = false;
let pending = false;
let turned = -Infinity; // when the record button last said something new, or was pressed
const paints = [], delays = [];
const distrusted = new Map(); // what was found in an input by the check at two levels, by its name

function put(id, words) {
  const element = part(id);
  if (element.textContent !== words) element.textContent = words;
}
const capital = (words) => `${words[0].toUpperCase()}${words.slice(1)}`;
function mark(id, [kind, words]) {
  put(id, words);
  part(id).className = `state ${kind}`;
}
function list(id, sentences) {
  const element = part(id);
  if ([...element.children].map((e) => e.textContent).join("|") === sentences.join("|")) return;
  element.replaceChildren(...sentences.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
}

const wave = waveDrawing(part("wave"));
const spectrum = spectrumDrawing(part("spectrum"));

function paint() {
  pending = false;
  const now = latest;
  if (!now) return;
  progress(now.recording);
  checking(now.level_check);
  pace(now);
  if (held) return;
  part("meter").classList.toggle("idle", !now.reading);
  list("notes", now.notes);
  put("calibrated", now.calibrate_v === null ? text("Not calibrated: levels are relative to full scale.")
    : text("Calibrated: full scale is {volts} rms.", { volts: volts(now.calibrate_v).join(" ") }));
  if (now.away) mark("verdict", ["unknown", text("input disconnected; waiting")]);
  if (now.reading) figures(now);
  if (now.pictures) pictures(now);
}

function figures(now) {
  const { reading } = now;
  const i = Math.min(now.channel, reading.channels.length) - 1;
  const channel = reading.channels[i];
  const doubtful = running?.processing.length;
  const verdict = VERDICTS[channel.verdict];
  mark("verdict", doubtful ? ["unknown", text("{verdict}, unreliable", { verdict: verdict[1] })] : verdict);
  const [level, unit] = channel.v_rms !== undefined && channel.v_rms !== null
    ? volts(channel.v_rms) : [channel.rms_dbfs === null ? text("silent") : fixed(channel.rms_dbfs, 2), "dBFS"];
  put("level", level);
  put("unit", unit);
  put("heard", now.heard[i] && `${capital(now.heard[i])}.`);
  put("frequency", fixed(channel.frequency_hz, 2));
  put("thd", percent(channel.thd_percent));
  put("room", fixed(reading.room_db[i], 1));
  const fits = now.fits?.[i];
  part("fits").hidden = !fits;
  if (fits) mark("fits", FITS[fits]);
  heldRows(now);
  put("gaps", reading.gaps > 1 ? text("Samples were lost {times} times.", { times: reading.gaps })
    : reading.gaps ? text("Samples were lost once.") : text("No samples lost."));
  list("warnings", now.warnings);
  takeable(channel, doubtful);
  Object.assign(root.dataset, { updates: Number(root.dataset.updates || 0) + 1 });
}

function heldRows({ reading, calibrate_v }) {
  const rows = reading.channels.map((channel, i) => {
    const row = document.createElement("tr");
    const [kind, words] = UNMEASURED.includes(reading.worst[i]) ? ["unknown", text("nothing measured yet")] : VERDICTS[reading.worst[i]];
    const highest = reading.highest_dbfs[i];
    const level = highest === null ? "–" : calibrate_v === null ? `${fixed(highest, 2)} dBFS` : volts(calibrate_v * 10 ** (highest / 20)).join(" ");
    const thd = reading.worst_thd_percent[i];
    for (const [content, name] of [[`${channel.channel}`, ""], [words, `state ${kind}`], [thd === null ? "–" : `${percent(thd)} %`, "figure"], [level, "figure"]]) {
      const cell = document.createElement("td");
      if (name.startsWith("state")) cell.append(Object.assign(document.createElement("span"), { className: name, textContent: content }));
      else Object.assign(cell, { className: name, textContent: content });
      row.append(cell);
    }
    return row;
  });
  part("held").replaceChildren(...rows);
}

function takeable(channel, doubtful) {
  const form = part("take");
  if (!form) return;
  const fit = channel.v_rms !== undefined && channel.v_rms !== null && !doubtful && !UNMEASURED.includes(channel.verdict) && channel.verdict !== "overloaded_input";
  form.querySelector("button").disabled = !fit;
  const at = part("at");  // a column of readings: the step of the control before the volts
  form.elements.text.value = fit ? `${at ? `${at.value.trim()} ` : ""}${channel.v_rms.toPrecision(4)} V` : "";
  put("taken", fit ? `: ${volts(channel.v_rms).join(" ")}` : "");
  part("take-hint").hidden = fit;
}

function pictures({ pictures: drawn, calibrate_v, channel }) {
  const peak = Math.max(1e-6, ...drawn.wave.filter((v) => v !== null).map(Math.abs));
  const full = calibrate_v === null ? 1 : calibrate_v * Math.SQRT2;
  wave.draw({ ...drawn, top: peak, unit: (v) => short(v * full) });
  spectrum.draw(drawn);
  const { upper, lower } = drawn;
  const cut = upper !== null && lower !== null ? text("clipped above and below") : upper !== null ? text("clipped above")
    : lower !== null ? text("clipped below") : text("not clipped");
  put("wave-words", !drawn.wave.length ? text("no tone") : calibrate_v === null ? text("relative to full scale") : text("volts"));
  const about = drawn.frequency_hz === null ? text("no tone") : `${fixed(drawn.frequency_hz, 0)} Hz, ${cut}`;
  part("wave").setAttribute("aria-label", text("One period of channel {channel}: {about}", { channel, about }));
  part("spectrum").setAttribute("aria-label", text("Spectrum of channel {channel}: {about}, {number} harmonics above the noise", { channel, about, number: drawn.harmonics.length }));
}

function progress(share) {
  const bar = part("recording");
  if (!bar) return;
  if (share !== null) bar.value = share;
  if (bar.hidden === (share === null)) return;
  const button = part("record").querySelector("button");
  bar.hidden = share === null;
  button.textContent = bar.hidden ? text("Record") : text("Stop and save");
  button.formNoValidate = !bar.hidden; // stopping needs no valid fields
  turned = performance.now();
}

function pace(now) {
  const at = performance.now();
  paints.push(at);
  while (paints.length && paints[0] < at - 2000) paints.shift();
  if (now.at !== undefined) delays.push(at - now.at);
  while (delays.length > 40) delays.shift();
  const rate = paints.length > 1 ? (paints.length - 1) / ((at - paints[0]) / 1000) : 0;
  const delay = [...delays].sort((a, b) => a - b)[Math.floor(delays.length / 2)];
  Object.assign(root.dataset, { rate: rate.toFixed(1), delay: delay === undefined ? "" : delay.toFixed(0) });
  put("pace", !rate ? "" : delay === undefined ? text("{rate} updates a second.", { rate: rate.toFixed(0) })
    : text("{rate} updates a second, {delay} ms behind.", { rate: rate.toFixed(0), delay: delay.toFixed(0) }));
}

// ---- the check at two levels -----------------------------------------------------------------------------------------

const takes = part("levels").querySelectorAll("button[data-part]");
let loudTaken = false;

function checking(share) {
  const bar = part("levels-share");
  bar.hidden = share === null;
  if (share !== null) bar.value = share;
  for (const button of takes) button.disabled = !running || share !== null || (button.dataset.part === "quiet" && !loudTaken);
}

function checked({ part: taken, result, text: words, processing }) {
  loudTaken = taken === "loud";
  if (result === null) {
    mark("levels-result", ["now", text("The louder tone is taken. Now the quieter one.")]);
    return;
  }
  mark("levels-result", [{ linear: "fits", not_linear: "stop", unclear: "unknown" }[result], words]);
  if (!processing) return;
  running.processing = processing;
  if (source === "here") distrusted.set(running.label, processing);
  doubt();
}

function doubt() {
  const { processing } = running;
  part("distrust").hidden = !processing.length;
  if (!processing.length) return;
  put("distrust-words", processing.includes(FOUND) ? text("The two levels show automatic gain: don't trust the levels shown here.")
    : text("The browser keeps {processing} on: don't trust the levels shown here.", { processing: listed(processing) }));
}

// ---- what an input tells ---------------------------------------------------------------------------------------------

const page = {
  distrusted: (label) => distrusted.get(label) ?? [],
  begun(channels) {
    showProblem("");
    doubt();
    if (part("channel").length !== channels) {
      part("which").hidden = channels < 2;
      part("channel").replaceChildren(...Array.from({ length: channels }, (_, i) => new Option(text("channel {number}", { number: i + 1 }), `${i + 1}`)));
    }
    part("channel").onchange();
    loudTaken = false;
    checking(null);
  },
  about(words, rate = "", unknown = false) {
    put("about", words);
    if (unknown) part("levels").open = true;
    Object.assign(root.dataset, { hz: rate });
  },
  async devices(now) {
    const found = (await navigator.mediaDevices.enumerateDevices()).filter((d) => d.kind === "audioinput");
    part("device").replaceChildren(...found.map((d, i) => new Option(d.label || text("input {number}", { number: i + 1 }), d.deviceId, false, d.deviceId === now)));
  },
  receive(message) {
    if (message.kind === "update") {
      message.pictures ??= latest && pending ? latest.pictures : null;
      latest = message;
      if (!pending) {
        pending = true;
        requestAnimationFrame(paint);
      }
    } else if (message.kind === "trouble") say(trouble(message));
    else if (message.kind === "level_check") checked(message);
    else if (message.kind === "kept") {
      say(text("{name} is saved with the job.", { name: message.name }));
      refresh();
    }
  },
  waiting(words) {
    progress(null);
    showProblem(words);
    mark("verdict", ["unknown", text("waiting for the server")]);
    part("meter").classList.add("idle");
  },
  finish(words) {
    stop();
    showProblem(words);
  },
};

async function refresh() {
  const read = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  part("recordings").replaceWith(document.importNode(read.getElementById("recordings"), true));
}

function showProblem(words) {
  part("problem").hidden = !words;
  part("problem").firstElementChild.textContent = words;
}

// ---- controls of the page ---------------------------------------------------------------------------------------------

function on(started) {
  part("start").textContent = started ? text("Stop") : text("Start");
  part("start").classList.toggle("first", !started);
  root.classList.toggle("running", started);
  for (const id of ["hold", "reset"]) part(id).disabled = !started;
  for (const id of ["calibrate", "record"]) {
    const button = part(id)?.querySelector("button");
    if (button) button.disabled = !started;
  }
  for (const id of ["device", "channels", "gain"]) part(id).disabled = started;
  checking(null);
  if (!started) {
    mark("verdict", ["unknown", text("stopped")]);
    part("fits").hidden = true;
    put("heard", "");
    part("meter").classList.add("idle");
    progress(null);
  }
}

async function start() {
  showProblem("");
  const asked = { device: part("device").value, channels: Number(part("channels").value), gain: part("gain").value, job, step };
  running = source === "here" ? new BrowserInput(page, asked) : new ServerInput(page, asked);
  on(true);
  mark("verdict", ["now", text("listening")]);
  try {
    await running.start();
  } catch (error) {
    const why = { NotAllowedError: text("The browser was not allowed to use the microphone. Allow the microphone for this page, then start again."),
      NotFoundError: text("There is no input. Plug one in, then start again."),
      NotReadableError: text("The input is in use by another program. Close that, then start again."),
      OverconstrainedError: text("That input is no longer available. Choose another.") };
    page.finish(why[error.name] || text("The input can't be opened: {reason}", { reason: error.message }));
  }
}

function stop() {
  running?.end();
  running = null;
  latest = null;
  loudTaken = false;
  release();
  on(false);
}

function release() {
  held = false;
  part("hold").setAttribute("aria-pressed", "false");
  part("hold").textContent = text("Hold");
}

part("input").addEventListener("submit", (event) => {
  event.preventDefault();
  if (running) stop(); else start();
});
part("hold").addEventListener("click", () => {
  held = !held;
  part("hold").setAttribute("aria-pressed", `${held}`);
  part("hold").textContent = held ? text("Held: resume") : text("Hold");
});
part("reset").addEventListener("click", () => { release(); running?.ask({ do: "reset" }); });
part("channel").onchange = () => running?.ask({ do: "channel", channel: Number(part("channel").value || 1) });
part("calibrate").addEventListener("submit", (event) => {
  event.preventDefault();
  running?.ask({ do: "calibrate", text: event.target.elements.text.value });
});
for (const button of takes) {
  button.addEventListener("click", () => {
    mark("levels-result", ["now", text("Listening: keep everything as it is.")]);
    running?.ask({ do: "level_check", part: button.dataset.part });
  });
}
part("record")?.addEventListener("submit", (event) => {
  event.preventDefault();
  if (performance.now() - turned < 600) return; // the second of a double click isn't meant for what the button says now
  turned = performance.now();
  const { name, seconds } = event.target.elements;
  running?.ask(part("recording").hidden ? { do: "record", name: name.value, seconds: Number(seconds.value) } : { do: "stop_recording" });
});

// the computer's own inputs work without a secure page
if (source === "here" && !navigator.mediaDevices?.getUserMedia) part("insecure").hidden = false;
else root.hidden = false;
