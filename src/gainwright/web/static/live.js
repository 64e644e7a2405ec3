// The live measurement: sound from this browser over a WebSocket, or the server's own input as server-sent events.
import { say } from "./page.js";
import { spectrumDrawing, waveDrawing } from "./live-drawing.js";

const part = (id) => document.getElementById(id);
const root = part("live");
const { source, job, step } = root.dataset;
const VERDICTS = {
  clean: ["fits", "clean"], clipped: ["high", "clipped"], distorted: ["high", "distorted"],
  overloaded_input: ["stop", "input full"], no_tone: ["unknown", "no tone"], other_tone: ["unknown", "other tone"], too_short: ["unknown", "too short"],
};
const FITS = { fits: ["fits", "as expected"], low: ["low", "lower than expected"], high: ["high", "higher than expected"] };
const PROCESSING = [["autoGainControl", "automatic gain"], ["noiseSuppression", "noise suppression"], ["echoCancellation", "echo cancellation"]];
const AGAIN_MS = 1000;

let running = null;     // the input in use
let latest = null;      // the last update
let shown = null;       // the one that is on the page
let held = false;
let pending = false;
let turned = -Infinity; // when the record button last said something new, or was pressed
const paints = [], delays = [], sent = new Map();

// ---- figures ---------------------------------------------------------------------------------------------------

const minus = (text) => text.replace("-", "−");
const fixed = (value, digits) => (value === null || value === undefined ? "–" : minus(value.toFixed(digits)));
function volts(value) {
  if (value === null || value === undefined) return ["–", "V"];
  const [scaled, unit] = value >= 1 ? [value, "V"] : value >= 1e-3 ? [value * 1e3, "mV"] : [value * 1e6, "µV"];
  return [scaled.toFixed(scaled >= 100 ? 1 : scaled >= 10 ? 2 : 3), unit];
}
function percent(value) {
  return value === null ? "–" : value < 0.001 ? "< 0.001" : value.toFixed(value < 10 ? 3 : 2);
}
function put(id, text) {
  const element = part(id);
  if (element.textContent !== text) element.textContent = text;
}
function mark(id, [kind, words]) {
  put(id, words);
  part(id).className = `state ${kind}`;
}

const wave = waveDrawing(part("wave"));
const spectrum = spectrumDrawing(part("spectrum"));

function paint() {
  pending = false;
  const now = latest;
  if (!now) return;
  progress(now.recording);
  pace(now);
  if (held) return;
  shown = now;
  part("meter").classList.toggle("idle", !now.reading);
  put("calibrated", now.calibrate_v === null ? "Not calibrated: levels are relative to full scale."
    : `Calibrated: full scale is ${volts(now.calibrate_v).join(" ")} rms.`);
  if (now.away) mark("verdict", ["unknown", "input disconnected; waiting"]);
  if (now.reading) figures(now);
  if (now.pictures) pictures(now);
}

function figures(now) {
  const { reading } = now;
  const i = Math.min(now.channel, reading.channels.length) - 1;
  const channel = reading.channels[i];
  const distrusted = running?.processing?.length;
  const verdict = VERDICTS[channel.verdict];
  mark("verdict", distrusted ? ["unknown", `${verdict[1]}, unreliable`] : verdict);
  const [level, unit] = channel.v_rms !== undefined && channel.v_rms !== null
    ? volts(channel.v_rms) : [channel.rms_dbfs === null ? "silent" : fixed(channel.rms_dbfs, 2), "dBFS"];
  put("level", level);
  put("unit", unit);
  put("frequency", fixed(channel.frequency_hz, 2));
  put("thd", percent(channel.thd_percent));
  put("room", fixed(reading.room_db[i], 1));
  const fits = now.fits?.[i];
  part("fits").hidden = !fits;
  if (fits) mark("fits", FITS[fits]);
  heldRows(now);
  put("gaps", reading.gaps ? `Samples were lost ${reading.gaps} time${reading.gaps > 1 ? "s" : ""}.` : "No samples lost.");
  warn([...reading.warnings.filter((w) => !w.startsWith("samples were lost"))]);
  takeable(channel, distrusted);
  Object.assign(root.dataset, { updates: Number(root.dataset.updates || 0) + 1 });
}

function heldRows({ reading, calibrate_v }) {
  const rows = reading.channels.map((channel, i) => {
    const row = document.createElement("tr");
    const [kind, words] = VERDICTS[reading.worst[i]];
    const highest = reading.highest_dbfs[i];
    const level = highest === null ? "–" : calibrate_v === null ? `${fixed(highest, 2)} dBFS` : volts(calibrate_v * 10 ** (highest / 20)).join(" ");
    const thd = reading.worst_thd_percent[i];
    for (const [text, name] of [[`${channel.channel}`, ""], [words, `state ${kind}`], [`${percent(thd)} %`, "figure"], [level, "figure"]]) {
      const cell = document.createElement("td");
      if (name.startsWith("state")) cell.append(Object.assign(document.createElement("span"), { className: name, textContent: text }));
      else Object.assign(cell, { className: name, textContent: text });
      row.append(cell);
    }
    return row;
  });
  part("held").replaceChildren(...rows);
}

function warn(warnings) {
  const list = part("warnings");
  if ([...list.children].map((e) => e.textContent).join("|") === warnings.join("|")) return;
  list.replaceChildren(...warnings.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

function takeable(channel, distrusted) {
  const form = part("take");
  if (!form) return;
  const fit = channel.v_rms !== undefined && channel.v_rms !== null && !distrusted && ["clean", "clipped", "distorted"].includes(channel.verdict);
  form.querySelector("button").disabled = !fit;
  const at = part("at");  // a column of readings: the step of the control before the volts
  form.elements.text.value = fit ? `${at ? `${at.value.trim()} ` : ""}${channel.v_rms.toPrecision(4)} V` : "";
  put("taken", fit ? `: ${volts(channel.v_rms).join(" ")}` : "");
  part("take-hint").hidden = fit;
}

function pictures({ pictures: drawn, calibrate_v, channel }) {
  const peak = Math.max(1e-6, ...drawn.wave.filter((v) => v !== null).map(Math.abs));
  const full = calibrate_v === null ? 1 : calibrate_v * Math.SQRT2;
  const unit = calibrate_v === null ? (v) => minus(v.toPrecision(2)) : (v) => minus((v * full).toPrecision(2));
  wave.draw({ ...drawn, top: peak, unit });
  spectrum.draw(drawn);
  const cut = [drawn.upper !== null && "above", drawn.lower !== null && "below"].filter(Boolean).join(" and ");
  put("wave-words", drawn.wave.length ? (calibrate_v === null ? "relative to full scale" : "volts") : "no tone");
  const about = drawn.frequency_hz === null ? "no tone" : `${drawn.frequency_hz.toFixed(0)} Hz${cut ? `, clipped ${cut}` : ", not clipped"}`;
  part("wave").setAttribute("aria-label", `One period of channel ${channel}: ${about}`);
  part("spectrum").setAttribute("aria-label", `Spectrum of channel ${channel}: ${about}, ${drawn.harmonics.length} harmonics above the noise`);
}

function progress(share) {
  const bar = part("recording");
  if (!bar) return;
  if (share !== null) bar.value = share;
  if (bar.hidden === (share === null)) return;
  const button = part("record").querySelector("button");
  bar.hidden = share === null;
  button.textContent = bar.hidden ? "Record" : "Stop and save";
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
  put("pace", rate ? `${rate.toFixed(0)} updates a second${delay === undefined ? "" : `, ${delay.toFixed(0)} ms behind`}.` : "");
}

// ---- messages --------------------------------------------------------------------------------------------------

function receive(message) {
  if (message.kind === "update") {
    if (source === "here") {
      message.at = sent.get(message.number);
      for (const number of sent.keys()) if (number <= message.number) sent.delete(number);
    }
    message.pictures ??= latest && pending ? latest.pictures : null;
    latest = message;
    if (!pending) {
      pending = true;
      requestAnimationFrame(paint);
    }
  } else if (message.kind === "trouble") {
    say([[message.where, message.what].filter(Boolean).join(": "), message.rule, message.remedy].filter(Boolean).join("; "));
  } else if (message.kind === "kept") {
    say(`${message.name} is saved with the job.`);
    refresh();
  }
}

async function refresh() {
  const read = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  part("recordings").replaceWith(document.importNode(read.getElementById("recordings"), true));
}

function showProblem(words) {
  part("problem").hidden = !words;
  part("problem").firstElementChild.textContent = words;
}

function on(started) {
  part("start").textContent = started ? "Stop" : "Start";
  part("start").classList.toggle("first", !started);
  root.classList.toggle("running", started);
  for (const id of ["hold", "reset"]) part(id).disabled = !started;
  for (const id of ["calibrate", "record"]) {
    const button = part(id)?.querySelector("button");
    if (button) button.disabled = !started;
  }
  for (const id of ["device", "channels", "gain"]) part(id).disabled = started;
  if (!started) {
    mark("verdict", ["unknown", "stopped"]);
    part("meter").classList.add("idle");
    progress(null);
  }
}

function choices(count) {
  part("which").hidden = count < 2;
  part("channel").replaceChildren(...Array.from({ length: count }, (_, i) => new Option(`channel ${i + 1}`, `${i + 1}`)));
}

// ---- this browser's input --------------------------------------------------------------------------------------

class BrowserInput {
  constructor() { this.processing = []; this.ended = false; }

  async start() {
    const wanted = { autoGainControl: false, noiseSuppression: false, echoCancellation: false, channelCount: { ideal: Number(part("channels").value) } };
    const device = part("device").value;
    if (device) wanted.deviceId = { exact: device };
    this.stream = await navigator.mediaDevices.getUserMedia({ audio: wanted });
    const [track] = this.stream.getAudioTracks();
    track.onended = () => { showProblem("The input was unplugged. Plug it in and start again."); stop(); };
    const settings = track.getSettings();
    this.processing = PROCESSING.filter(([key]) => settings[key]).map(([, words]) => words);
    const unknown = PROCESSING.filter(([key]) => settings[key] === undefined).map(([, words]) => words);
    this.label = track.label;
    this.context = await contextAt(settings.sampleRate);
    await this.context.audioWorklet.addModule("/static/capture-worklet.js");
    this.rate = Math.round(this.context.sampleRate);
    this.channels = Math.max(1, Math.min(settings.channelCount || 1, Number(part("channels").value)));
    this.describe(settings, unknown);
    const frames = Math.max(128, 128 * Math.round(this.rate / 54 / 128));
    const node = new AudioWorkletNode(this.context, "capture", {
      channelCount: this.channels, channelCountMode: "explicit", channelInterpretation: "discrete",
      processorOptions: { frames, channels: this.channels },
    });
    node.port.onmessage = ({ data }) => this.block(data);
    this.context.createMediaStreamSource(this.stream).connect(node);
    node.connect(this.context.destination);  // silent, but a node runs only when connected to the output
    await this.context.resume();
    await this.devices();
    choices(this.channels);
    this.connect();
  }

  describe(settings, unknown) {
    part("distrust").hidden = !this.processing.length;
    part("distrust").firstElementChild.textContent = `The browser keeps ${this.processing.join(" and ")} on: don't trust the levels shown here.`;
    const rate = settings.sampleRate && Math.round(settings.sampleRate) !== this.rate
      ? `${settings.sampleRate} Hz, converted by the browser to ${this.rate} Hz` : `${this.rate} Hz`;
    const doubt = unknown.length ? ` The browser doesn't say whether ${unknown.join(" or ")} is on: check with a tone at two levels.` : "";
    part("about").textContent = `${this.label || "Input"}: ${this.channels === 1 ? "one channel" : `${this.channels} channels`}, ${rate}.${doubt}`;
    Object.assign(root.dataset, { hz: this.rate });
  }

  async devices() {
    const found = (await navigator.mediaDevices.enumerateDevices()).filter((d) => d.kind === "audioinput");
    const now = this.stream.getAudioTracks()[0].getSettings().deviceId;
    part("device").replaceChildren(...found.map((d, i) => new Option(d.label || `input ${i + 1}`, d.deviceId, false, d.deviceId === now)));
  }

  connect() {
    this.ready = false;
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/live`);
    this.socket = socket;
    socket.binaryType = "arraybuffer";
    socket.onopen = () => socket.send(JSON.stringify({
      rate_hz: this.rate, channels: this.channels, device: this.label, gain: part("gain").value, processing: this.processing, job, step,
    }));
    socket.onmessage = ({ data }) => {
      const message = JSON.parse(data);
      if (message.kind === "begun") { this.ready = true; showProblem(""); part("channel").onchange(); }
      else receive(message);
    };
    socket.onclose = ({ code, reason }) => {
      if (this.ended || socket !== this.socket) return;
      this.ready = false;
      progress(null);
      if (reason) { showProblem(`The measurement ended: ${reason}.`); stop(); return; }
      showProblem("The server can't be reached. The measurement restarts as soon as it answers.");
      mark("verdict", ["unknown", "waiting for the server"]);
      part("meter").classList.add("idle");
      setTimeout(() => { if (!this.ended) this.connect(); }, AGAIN_MS);
    };
  }

  block(buffer) {
    // more than a second waits to be sent: leave this one out; its number is missed at the other end
    if (!this.ready || this.socket.readyState !== WebSocket.OPEN || this.socket.bufferedAmount > 4 * this.rate * this.channels) return;
    sent.set(new Uint32Array(buffer, 0, 1)[0], performance.now());
    this.socket.send(buffer);
  }

  ask(message) { if (this.ready) this.socket.send(JSON.stringify(message)); }

  end() {
    this.ended = true;
    this.socket?.close();
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close();
  }
}

async function contextAt(rate) {
  try {
    return new AudioContext({ latencyHint: "interactive", ...(rate ? { sampleRate: rate } : {}) });
  } catch {
    return new AudioContext({ latencyHint: "interactive" });
  }
}

// ---- the server's own input ------------------------------------------------------------------------------------

class ServerInput {
  constructor() { this.processing = []; }

  async start() {
    const device = part("device");
    const query = new URLSearchParams({ device: device.value, channels: part("channels").value, gain: part("gain").value, job, step });
    const address = `/api/live/events?${query}`;
    this.source = new EventSource(address);
    this.source.onmessage = ({ data }) => {
      const message = JSON.parse(data);
      if (message.kind === "begun") { this.session = message.session; showProblem(""); part("about").textContent = `${message.device}, an input of the computer.`; choices(Number(part("channels").value)); }
      else if (message.kind === "trouble" && !this.heard) { showProblem(`${message.where}: ${message.what}; ${message.remedy}`); stop(); }
      else { this.heard = true; receive(message); }
    };
    this.source.onerror = () => {
      if (this.source.readyState === EventSource.CLOSED) { showProblem("This input can't be opened. Reload the page to see which inputs there are."); stop(); }
      else showProblem("The server can't be reached. The measurement restarts as soon as it answers.");
    };
  }

  async ask(message) {
    if (!this.session) return;
    const answer = await fetch(`/api/live/${this.session}`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(message) });
    const found = await answer.json();
    for (const one of Array.isArray(found) ? found : [{ kind: "trouble", ...found }]) receive(one);
  }

  end() { this.source?.close(); }
}

// ---- controls of the page ---------------------------------------------------------------------------------------------

async function start() {
  showProblem("");
  running = source === "here" ? new BrowserInput() : new ServerInput();
  on(true);
  mark("verdict", ["now", "listening"]);
  try {
    await running.start();
  } catch (error) {
    const why = { NotAllowedError: "The browser was not allowed to use the microphone. Allow the microphone for this page, then start again.",
      NotFoundError: "There is no input. Plug one in, then start again.",
      NotReadableError: "The input is in use by another program. Close that, then start again.",
      OverconstrainedError: "That input is no longer available. Choose another." };
    showProblem(why[error.name] || `The input can't be opened: ${error.message}`);
    stop();
  }
}

function stop() {
  running?.end();
  running = null;
  latest = null;
  release();
  on(false);
}

function release() {
  held = false;
  part("hold").setAttribute("aria-pressed", "false");
  part("hold").textContent = "Hold";
}

part("input").addEventListener("submit", (event) => {
  event.preventDefault();
  if (running) stop(); else start();
});
part("hold").addEventListener("click", () => {
  held = !held;
  part("hold").setAttribute("aria-pressed", `${held}`);
  part("hold").textContent = held ? "Held: resume" : "Hold";
});
part("reset").addEventListener("click", () => { release(); running?.ask({ do: "reset" }); });
part("channel").onchange = () => running?.ask({ do: "channel", channel: Number(part("channel").value || 1) });
part("calibrate").addEventListener("submit", (event) => {
  event.preventDefault();
  running?.ask({ do: "calibrate", text: event.target.elements.text.value });
});
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
