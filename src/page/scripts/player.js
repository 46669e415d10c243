// Several versions of one sound, played together and in step; one of them is heard. Switching fades
// from one to the other at the same place in the sound, so that there is neither a gap nor a click.
import { bytes } from "./ask.js";

// A fade, s.
const FADE_S = 0.01;
// A fade begins so much after the order, s: what is being computed now is over by then.
const AHEAD_S = 0.05;

const factor = (db) => 10 ** (db / 20);

// A gain that moves in straight lines, and knows where it is at any time.
class Fader {
  constructor(context, value, to) {
    this.node = context.createGain();
    this.node.connect(to);
    this.context = context;
    this.line = { from: value, to: value, begin: 0, end: 0 };
    this.node.gain.setValueAtTime(value, 0);
  }

  at(time) {
    const { from, to, begin, end } = this.line;
    if (time >= end) return to;
    return time <= begin ? from : from + ((to - from) * (time - begin)) / (end - begin);
  }

  move(to, begin = this.context.currentTime + AHEAD_S) {
    const from = this.at(begin);
    this.node.gain.cancelScheduledValues(begin);
    // What is left of a fade under way, then the new one.
    this.node.gain.linearRampToValueAtTime(from, begin);
    this.node.gain.linearRampToValueAtTime(to, begin + FADE_S);
    this.line = { from, to, begin, end: begin + FADE_S };
  }
}

export class Player {
  constructor() {
    Object.assign(this, { context: null, buffers: [], sources: [], faders: [], levels: [], heard: 0, volumeDb: -20 });
  }

  // Called from a key that was pressed: browsers let sound begin there alone.
  open() {
    if (this.context) return;
    // Blocks of 20 ms: with those of 10 ms a busy machine tears holes (measured); longer ones answer late.
    this.context = new AudioContext({ latencyHint: "playback" });
    this.master = new Fader(this.context, 0, this.context.destination);
  }

  async load(addresses) {
    this.stop();
    this.open();
    const files = await Promise.all(addresses.map(bytes));
    this.buffers = await Promise.all(files.map((file) => this.context.decodeAudioData(file)));
    this.levels = this.buffers.map(() => 1);
    this.heard = 0;
  }

  // One version exchanged, the others kept: it begins with them when they are played again.
  async exchange(which, address) {
    this.stop();
    this.buffers[which] = await this.context.decodeAudioData(await bytes(address));
  }

  get playing() {
    return this.sources.length > 0;
  }

  async play() {
    if (this.playing || !this.buffers.length) return;
    await this.context.resume();
    const begin = this.context.currentTime + 2 * AHEAD_S;
    this.faders = this.buffers.map((_, i) => new Fader(this.context, i === this.heard ? this.levels[i] : 0, this.master.node));
    this.sources = this.buffers.map((buffer, i) => {
      const source = this.context.createBufferSource();
      Object.assign(source, { buffer, loop: true });
      source.connect(this.faders[i].node);
      source.start(begin);
      return source;
    });
    this.master.move(factor(this.volumeDb), begin);
  }

  stop() {
    if (!this.playing) return;
    this.master.move(0);
    const end = this.context.currentTime + AHEAD_S + 2 * FADE_S;
    this.sources.forEach((source) => source.stop(end));
    [this.sources, this.faders] = [[], []];
  }

  // Which version is heard.
  hear(which) {
    this.heard = which;
    const begin = (this.context?.currentTime ?? 0) + AHEAD_S;
    this.faders.forEach((fader, i) => fader.move(i === which ? this.levels[i] : 0, begin));
  }

  // Gain of each version, dB: as they are, or matched.
  level(gainsDb) {
    this.levels = gainsDb.map(factor);
    if (this.playing) this.hear(this.heard);
  }

  volume(db) {
    this.volumeDb = db;
    if (this.playing) this.master.move(factor(db));
  }
}
