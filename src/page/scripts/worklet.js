// Hands on every sample of one input channel, and counts those that never came.
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
    this.port.onmessage = () => (this.done = true);
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
    if (!samples) {
      // Before the first sound the device is only starting.
      if (this.began) this.lost += n;
      return !this.done;
    }
    this.began = true;
    for (let i = 0; i < n; i += 1) {
      this.block[this.filled] = samples[i];
      this.filled += 1;
      if (this.filled === this.block.length) this.hand(currentFrame + i + 1);
    }
    return !this.done;
  }

  hand(end) {
    const samples = this.block.slice();
    this.port.postMessage({ samples, end, lost: this.lost }, [samples.buffer]);
    this.filled = 0;
  }
}
registerProcessor("take", Take);
