// A steady sine as a 24-bit WAV file: exact level (0 dBFS is a full-scale sine, AES17), exact length, ends on raised cosines.
const FADE_SECONDS = 0.02, FULL = 2 ** 23 - 1, HEADER = 44;

// Samples re full scale; the fades are part of the length.
export function toneSamples({ hz, dbfs, seconds, rate }) {
  const count = Math.round(seconds * rate), fade = Math.min(Math.round(FADE_SECONDS * rate), count >> 1);
  const peak = 10 ** (Math.min(dbfs, 0) / 20), samples = new Float64Array(count);
  for (let n = 0; n < count; n++) {
    const edge = Math.min(n, count - 1 - n);
    const envelope = edge < fade ? 0.5 - 0.5 * Math.cos(Math.PI * (edge + 0.5) / fade) : 1;
    samples[n] = peak * envelope * Math.sin(2 * Math.PI * ((hz / rate * n) % 1));
  }
  return samples;
}

// `sides`: both (one channel, which browsers play on both), left or right.
export function toneWav({ sides = "both", rate, ...tone }) {
  const samples = toneSamples({ ...tone, rate });
  const channels = sides === "both" ? 1 : 2, step = 3 * channels, size = step * samples.length;
  const bytes = new Uint8Array(HEADER + size), view = new DataView(bytes.buffer);
  [..."RIFF", ..."WAVEfmt ", ..."data"].forEach((letter, i) => { bytes[i < 4 ? i : i < 12 ? i + 4 : i + 24] = letter.charCodeAt(0); });
  view.setUint32(4, HEADER - 8 + size, true);
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, channels, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, rate * step, true);
  view.setUint16(32, step, true);
  view.setUint16(34, 24, true);
  view.setUint32(40, size, true);
  let at = HEADER + (sides === "right" ? 3 : 0);
  for (const sample of samples) {
    const whole = Math.round(FULL * sample);
    bytes[at] = whole & 255;
    bytes[at + 1] = (whole >> 8) & 255;
    bytes[at + 2] = (whole >> 16) & 255;
    at += step;
  }
  return new Blob([bytes], { type: "audio/wav" });
}

// The rate at which this device plays: samples at it are played unchanged.
export function playedRate() {
  try {
    const context = new AudioContext();
    context.close();
    return context.sampleRate;
  } catch {
    return 48000;
  }
}
