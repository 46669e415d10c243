// Plays the sweep on one channel and records one channel, sample by sample. Whatever goes wrong on
// the way ends the take with a sentence, and nothing of it is kept.
import { bytes, job } from "./ask.js";
import { list, microphone, processing, why } from "./devices.js";
import { say } from "./words.js";

const START_S = 0.05;
const FADE_S = 0.008;
const SLEPT_S = 2.5;
const SILENT_MS = 2500;
const WARM_S = 0.5;
const AGAIN = 5;
const GONE_MS = 300;

export class Spoiled extends Error {}

export class Engine {
  constructor(id) {
    this.id = id;
    this.sweeps = new Map();
  }

  // Opens devices; the same again where nothing changed.
  async open({ input, output, inChannel, outChannel }) {
    const wish = JSON.stringify([input, output, inChannel]);
    this.outChannel = outChannel;
    if (this.wish === wish && this.track?.readyState === "live") {
      await this.play?.resume();
      return;
    }
    this.close();
    try {
      const { stream, track } = await microphone(input);
      Object.assign(this, { stream, track });
    } catch (error) {
      throw new Spoiled(why(error));
    }
    // Without a rate of its own the context takes the device's.
    this.play = new AudioContext({ latencyHint: "interactive" });
    if (output && this.play.setSinkId) await this.play.setSinkId(output === "default" ? "" : output);
    await this.play.resume();
    const own = this.track.getSettings().sampleRate;
    this.hear = own && own !== this.play.sampleRate ? new AudioContext({ sampleRate: own }) : this.play;
    await this.hear.resume();
    await this.hear.audioWorklet.addModule("/assets/worklet.js");
    this.source = this.hear.createMediaStreamSource(this.stream);
    this.inChannel = inChannel;
    this.node = new AudioWorkletNode(this.hear, "take", {
      channelCount: 32, channelCountMode: "max", channelInterpretation: "discrete", outputChannelCount: [1],
      processorOptions: { channel: inChannel },
    });
    // Nothing of it is heard; without a way out some browsers do not run it.
    const mute = this.hear.createGain();
    mute.gain.value = 0;
    this.source.connect(this.node).connect(mute).connect(this.hear.destination);
    this.fresh = true;
    this.wish = wish;
    this.there = await this.devices();
    this.channels = this.track.getSettings().channelCount ?? 1;
  }

  close() {
    this.node?.port.postMessage({ done: true });
    this.stream?.getTracks().forEach((track) => track.stop());
    for (const context of new Set([this.play, this.hear])) context?.close();
    this.stream = this.track = this.play = this.hear = this.node = this.wish = null;
  }

  get outChannels() {
    return this.play?.destination.maxChannelCount ?? 2;
  }

  // The session's sweep at the rate of the output.
  async sweep() {
    const rate = this.play.sampleRate;
    if (!this.sweeps.has(rate)) this.sweeps.set(rate, new Float32Array(await bytes(job(this.id, `/sweep?rate_hz=${rate}`))));
    return this.sweeps.get(rate);
  }

  // Stops at once: a few milliseconds of fade, so that nothing cracks.
  stop(reason = say("rec.stopped")) {
    this.quiet();
    this.fail?.(reason);
  }

  quiet() {
    if (!this.player) return;
    const now = this.play.currentTime;
    this.volume.gain.cancelScheduledValues(now);
    this.volume.gain.setValueAtTime(this.volume.gain.value, now);
    this.volume.gain.linearRampToValueAtTime(0, now + FADE_S);
    this.player.stop(now + 2 * FADE_S);
    this.player = null;
  }

  start(samples, gainDb, at) {
    const buffer = this.play.createBuffer(1, samples.length, this.play.sampleRate);
    buffer.copyToChannel(samples, 0);
    const out = this.play.destination;
    out.channelCount = out.maxChannelCount;
    out.channelInterpretation = "discrete";
    this.player = this.play.createBufferSource();
    this.player.buffer = buffer;
    this.volume = this.play.createGain();
    this.volume.gain.value = 10 ** (gainDb / 20);
    const merger = this.play.createChannelMerger(out.channelCount);
    this.player.connect(this.volume).connect(merger, 0, Math.min(this.outChannel, out.channelCount - 1));
    merger.connect(out);
    this.player.start(at);
  }

  // Records for `lead_s`, plays (unless `gainDb` is null), and goes on until `tail_s` after the
  // sweep has come back. `glance` gets what there is `glance_s` after it.
  async record({ gainDb, lead_s, tail_s, latency_s, onlevel, glance, glance_s }) {
    if (document.hidden) throw new Spoiled(say("rec.hidden"));
    const state = processing(this.track);
    if (state.state === "on") throw new Spoiled(say("rec.treated", { what: state.words }));
    const sweep = gainDb === null ? null : await this.sweep();
    const rate = this.hear.sampleRate;
    const sweep_s = sweep ? sweep.length / this.play.sampleRate : 0;
    const frames = (s) => Math.round(s * rate);
    const total = frames(lead_s + (sweep ? START_S + sweep_s + latency_s : 0) + tail_s);
    const early = glance ? frames(lead_s + START_S + sweep_s + latency_s + glance_s) : null;
    let before = null;
    const { node } = this;
    const taken = new Float32Array(total + 4096);
    let filled = 0;
    let lost = null;
    const watch = [];
    try {
      await new Promise((resolve, reject) => {
        this.fail = (text) => reject(new Spoiled(text));
        this.guard(watch);
        let heard = performance.now();
        // The first moments of a device are its own affair.
        let warm = frames(this.fresh ? WARM_S : 0);
        let playing = false;
        let glanced = false;
        let again = AGAIN;
        let failing = null;
        watch.push(() => clearTimeout(failing));
        node.port.onmessage = ({ data }) => {
          if (data.channels !== undefined) {
            if (data.channels > 0 && this.inChannel >= data.channels) this.fail(say("rec.no_channel", { n: data.channels }));
            return;
          }
          heard = performance.now();
          if (warm > 0) {
            warm -= data.samples.length;
            lost = data.lost;
            this.fresh = warm > 0;
            return;
          }
          lost ??= data.lost;
          if (data.lost > lost) {
            // In the silence before the sweep nothing is lost but time: it begins anew.
            if (playing || again === 0) {
              // Where the device is gone it says so itself a moment later.
              const text = say("rec.lost", { n: data.lost - lost });
              failing ??= setTimeout(() => this.fail?.(text), GONE_MS);
              return;
            }
            again -= 1;
            filled = 0;
            lost = data.lost;
            return;
          }
          const part = data.samples.subarray(0, Math.max(0, taken.length - filled));
          taken.set(part, filled);
          filled += part.length;
          onlevel?.(peak(data.samples), filled / total, playing);
          if (sweep && !playing && filled >= frames(lead_s)) {
            playing = true;
            before = this.counts();
            this.playedAt = filled / rate + START_S;
            this.start(sweep, gainDb, this.play.currentTime + START_S);
          }
          if (early && !glanced && filled >= early) {
            glanced = true;
            glance(taken.slice(0, filled), rate, performance.now());
          }
          if (filled >= total) resolve();
        };
        watch.push(timer(() => performance.now() - heard > SILENT_MS && this.fail(say("rec.no_sound")), 300));
        node.port.postMessage({ on: true });
      });
      const after = this.counts();
      if ((await this.devices()) !== this.there) {
        this.wish = null;
        throw new Spoiled(say("rec.unplugged"));
      }
      if (before && after.lost > before.lost) throw new Spoiled(say("rec.lost", { n: after.lost - before.lost }));
      if (before && after.gaps > before.gaps) throw new Spoiled(say("rec.out_gaps", { n: after.gaps - before.gaps }));
    } finally {
      this.quiet();
      this.fail = null;
      watch.forEach((end) => end());
      node.port.onmessage = null;
      node.port.postMessage({ on: false });
    }
    return { samples: taken.subarray(0, filled), rate, processing: state.state, device: this.track.label, played_s: this.playedAt };
  }

  // What the browser counts itself, where it does: frames that never came from the input, and times
  // when the output wanted for sound.
  counts() {
    const input = this.track?.stats;
    const output = this.play?.playbackStats ?? this.play?.playoutStats;
    const lost = input?.totalFrames === undefined ? 0 : input.totalFrames - input.deliveredFrames;
    return { lost, gaps: output?.underrunEvents ?? output?.fallbackFramesEvents ?? 0 };
  }

  // Which devices the input and the output are, as far as the browser tells. A system may hand on
  // another one in place of one that was unplugged, without a word.
  async devices() {
    const { inputs, outputs } = await list();
    const name = (d) => d && [d.deviceId, d.groupId, d.label];
    const [input, output] = JSON.parse(this.wish ?? "[]");
    return JSON.stringify([name(inputs.find((d) => d.deviceId === (input || "default"))), name(outputs.find((d) => d.deviceId === (output || "default")))]);
  }

  // Everything that spoils a take from outside.
  guard(watch) {
    const on = (target, type, key) => {
      if (!target) return;
      const listener = () => this.stop(say(key));
      target.addEventListener(type, listener);
      watch.push(() => target.removeEventListener(type, listener));
    };
    on(this.track, "ended", "rec.unplugged");
    on(this.track, "mute", "rec.muted");
    on(this.play, "error", "rec.output_gone");
    const hidden = () => document.hidden && this.stop(say("rec.hidden"));
    document.addEventListener("visibilitychange", hidden);
    watch.push(() => document.removeEventListener("visibilitychange", hidden));
    const leaving = () => this.stop(say("rec.stopped"));
    window.addEventListener("pagehide", leaving);
    watch.push(() => window.removeEventListener("pagehide", leaving));
    let last = Date.now();
    watch.push(
      timer(() => {
        const now = Date.now();
        if (now - last > SLEPT_S * 1000) this.stop(say("rec.slept"));
        last = now;
        if (this.play.state !== "running" || this.hear.state !== "running") this.stop(say("rec.suspended"));
      }, 250),
    );
  }
}

const timer = (work, ms) => {
  const id = setInterval(work, ms);
  return () => clearInterval(id);
};

function peak(samples) {
  let most = 0;
  for (const x of samples) most = Math.max(most, Math.abs(x));
  return most;
}
