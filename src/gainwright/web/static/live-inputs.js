// The inputs of a live measurement: sound from this browser over a WebSocket, or an input of the computer as server-sent events.
// `page` has: about(words, rate, unknown), devices(now), distrusted(label), begun(channels), receive(message), waiting(words), finish(words).
import { text } from "./words.js";
import { listed } from "./live-figures.js";

const KEYS = [["autoGainControl", "automatic gain"], ["noiseSuppression", "noise suppression"], ["echoCancellation", "echo cancellation"]];
const AGAIN_MS = 1000, MOST_FRUITLESS = 5;
const AWAY = text("The server can't be reached. The measurement restarts as soon as it answers.");
const FRUITLESS = text("The measurement breaks off again and again before it measures anything. Start again, or reload the page.");

export function trouble({ where, what, rule, remedy }) {
  return [[where, what].filter(Boolean).join(": "), rule, remedy].filter(Boolean).join("; ");
}

export class BrowserInput {
  constructor(page, asked) { Object.assign(this, { page, asked, processing: [], ended: false, fruitless: 0, sent: new Map() }); }

  async start() {
    const { device, channels } = this.asked;
    const wanted = { autoGainControl: false, noiseSuppression: false, echoCancellation: false, channelCount: { ideal: channels } };
    if (device) wanted.deviceId = { exact: device };
    this.stream = await navigator.mediaDevices.getUserMedia({ audio: wanted });
    const [track] = this.stream.getAudioTracks();
    track.onended = () => this.page.finish(text("The input was unplugged. Plug it in and start again."));
    const settings = track.getSettings();
    this.label = track.label;
    this.processing = KEYS.filter(([key]) => settings[key]).map(([, words]) => words);
    const unknown = KEYS.filter(([key]) => settings[key] === undefined).map(([, words]) => words);
    this.context = await contextAt(settings.sampleRate);
    await this.context.audioWorklet.addModule(new URL("capture-worklet.js", import.meta.url));
    this.rate = Math.round(this.context.sampleRate);
    this.channels = Math.max(1, Math.min(settings.channelCount || 1, channels));
    this.describe(settings, unknown);
    this.processing = [...new Set([...this.processing, ...this.page.distrusted(this.label)])];
    const frames = Math.max(128, 128 * Math.round(this.rate / 54 / 128));
    const node = new AudioWorkletNode(this.context, "capture", {
      channelCount: this.channels, channelCountMode: "explicit", channelInterpretation: "discrete",
      processorOptions: { frames, channels: this.channels },
    });
    node.port.onmessage = ({ data }) => this.block(data);
    this.context.createMediaStreamSource(this.stream).connect(node);
    node.connect(this.context.destination);  // silent, but a node runs only when connected to the output
    await this.context.resume();
    await this.page.devices(settings.deviceId);
    this.connect();
  }

  describe(settings, unknown) {
    const converted = settings.sampleRate && Math.round(settings.sampleRate) !== this.rate;
    const rate = converted ? text("{own} Hz, converted by the browser to {rate} Hz", { own: settings.sampleRate, rate: this.rate })
      : text("{rate} Hz", { rate: this.rate });
    const count = this.channels === 1 ? text("one channel") : text("{number} channels", { number: this.channels });
    const doubt = unknown.length ? text("The browser doesn't say whether {processing} is on: check this input with two levels.", { processing: listed(unknown, true) }) : "";
    this.page.about(`${this.label || text("Input")}: ${count}, ${rate}. ${doubt}`, this.rate, unknown.length > 0);
  }

  connect() {
    this.ready = false;
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/live`);
    this.socket = socket;
    socket.binaryType = "arraybuffer";
    socket.onopen = () => socket.send(JSON.stringify({
      rate_hz: this.rate, channels: this.channels, device: this.label, gain: this.asked.gain, processing: this.processing, job: this.asked.job, step: this.asked.step,
    }));
    socket.onmessage = ({ data }) => this.take(JSON.parse(data));
    socket.onclose = ({ code, reason }) => {
      if (this.ended || socket !== this.socket) return;
      if (reason) { this.page.finish(text("The measurement ended: {reason}.", { reason })); return; }
      if (this.ready && ++this.fruitless >= MOST_FRUITLESS) { this.page.finish(FRUITLESS); return; }
      this.ready = false;
      this.page.waiting(AWAY);
      setTimeout(() => { if (!this.ended) this.connect(); }, AGAIN_MS);
    };
  }

  take(message) {
    if (message.kind === "begun") { this.ready = true; this.page.begun(this.channels); return; }
    if (message.ended) { this.page.finish(trouble(message)); return; }
    if (message.kind === "update") {
      this.fruitless = 0;
      message.at = this.sent.get(message.number);
      for (const number of this.sent.keys()) if (number <= message.number) this.sent.delete(number);
    }
    this.page.receive(message);
  }

  block(buffer) {
    // more than a second waits to be sent: leave this one out; its number is missed at the other end
    if (!this.ready || this.socket.readyState !== WebSocket.OPEN || this.socket.bufferedAmount > 4 * this.rate * this.channels) return;
    this.sent.set(new Uint32Array(buffer, 0, 1)[0], performance.now());
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

export class ServerInput {
  constructor(page, asked) { Object.assign(this, { page, asked, processing: [], label: asked.device, fruitless: 0 }); }

  async start() {
    this.source = new EventSource(`/api/live/events?${new URLSearchParams(this.asked)}`);
    this.source.onmessage = ({ data }) => this.take(JSON.parse(data));
    this.source.onerror = () => {
      if (this.source.readyState === EventSource.CLOSED) this.page.finish(text("This input can't be opened. Reload the page to see which inputs there are."));
      else if (this.session && ++this.fruitless >= MOST_FRUITLESS) this.page.finish(FRUITLESS);
      else { this.session = ""; this.page.waiting(AWAY); }
    };
  }

  take(message) {
    if (message.kind === "begun") {
      this.session = message.session;
      this.page.about(text("{device}, an input of the computer.", { device: message.device }));
      this.page.begun(this.asked.channels);
    } else if (message.ended) this.page.finish(trouble(message));
    else {
      if (message.kind === "update") this.fruitless = 0;
      this.page.receive(message);
    }
  }

  async ask(message) {
    if (!this.session) return;
    const answer = await fetch(`/api/live/${this.session}`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(message) });
    const found = await answer.json();
    for (const one of Array.isArray(found) ? found : [{ kind: "trouble", ...found }]) this.page.receive(one);
  }

  end() { this.source?.close(); }
}
