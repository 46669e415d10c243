// Hands on every sample of one input channel, and counts those that never came.
const HOLE = 32; // samples
const LOUD = 2e-4; // about seven steps of 16 bits
const FADE = 0.97; // of the level that counts as recent, each sample

class Take extends AudioWorkletProcessor {
  constructor({ processorOptions }) {
    super();
    this.channel = processorOptions.channel;
    this.block = new Float32Array(2048);
    this.filled = 0;
    this.expected = null;
    this.lost = 0;
    this.channels = 0;
    this.began = false;
    this.zeros = 0;
    this.recent = 0;
    this.on = false;
    this.port.onmessage = ({ data }) => Object.assign(this, data, { filled: 0 });
  }

  process([input]) {
    // The browser's frames go on where blocks were dropped.
    if (this.expected !== null && currentFrame !== this.expected) this.lost += Math.abs(currentFrame - this.expected);
    const samples = input[this.channel];
    const n = samples?.length ?? 128;
    this.expected = currentFrame + n;
    if (input.length !== this.channels) {
      this.channels = input.length;
      this.port.postMessage({ channels: input.length });
    }
    if (!this.on) return !this.done;
    if (!samples) {
      // Before the first sound the device is only starting.
      if (this.began) this.lost += n;
      return !this.done;
    }
    this.began = true;
    for (let i = 0; i < n; i += 1) {
      this.hole(samples[i]);
      this.block[this.filled] = samples[i];
      this.filled += 1;
      if (this.filled === this.block.length) this.hand(currentFrame + i + 1);
    }
    return !this.done;
  }

  // A device in want of data hands on nothings: a run of them inside louder sound is a hole. The
  // silence of a quiet room may well be exact nothings.
  hole(sample) {
    const size = Math.abs(sample);
    if (sample === 0) {
      this.zeros += 1;
      return;
    }
    if (this.zeros >= HOLE && this.recent > LOUD && size > LOUD / 4) this.lost += this.zeros;
    if (this.zeros >= HOLE) this.recent = 0;
    this.zeros = 0;
    this.recent = Math.max(size, this.recent * FADE);
  }

  hand(end) {
    const samples = this.block.slice();
    this.port.postMessage({ samples, end, lost: this.lost }, [samples.buffer]);
    this.filled = 0;
  }
}
registerProcessor("take", Take);
