// Gathers what comes in into blocks of a header (number, frames, channels) and 32-bit floats, frame by frame.
const HEADER = 12;

class Capture extends AudioWorkletProcessor {
  constructor(options) {
    super();
    ({ frames: this.frames, channels: this.channels } = options.processorOptions);
    this.number = 0;
    this.next = -1;
    this.begin();
  }

  begin() {
    this.buffer = new ArrayBuffer(HEADER + 4 * this.frames * this.channels);
    this.samples = new Float32Array(this.buffer, HEADER);
    this.filled = 0;
  }

  process([input]) {
    // the clock jumped: something was lost, and a number is left out so that the other end knows
    if (this.next >= 0 && currentFrame !== this.next) {
      this.number = (this.number + 1) >>> 0;
      this.begin();
    }
    const length = input[0]?.length ?? 128;
    this.next = currentFrame + length;
    for (let i = 0; i < length; i++) {
      for (let c = 0; c < this.channels; c++) this.samples[this.filled * this.channels + c] = input[c]?.[i] ?? 0;
      if (++this.filled === this.frames) {
        new Uint32Array(this.buffer, 0, 3).set([this.number, this.frames, this.channels]);
        this.port.postMessage(this.buffer, [this.buffer]);
        this.number = (this.number + 1) >>> 0;
        this.begin();
      }
    }
    return true;
  }
}

registerProcessor("capture", Capture);
