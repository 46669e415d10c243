// Before recording: cautions, devices, level. What was chosen is kept for this job in this browser;
// the cautions are accepted anew in every tab.
import { job, query, send } from "./ask.js";
import { list, microphone, processing, supported, why } from "./devices.js";
import { announce, button, el, fill, notice, unique } from "./dom.js";
import { Engine, Spoiled } from "./engine.js";
import { hertz, number, say } from "./words.js";

const LOWEST_DB = -30;
const STEPS_DB = [1, 3, 6];
const NOISE_S = 2;
export const LEAD_S = 1.0;
const GUESS_S = 0.5;

export class Sound {
  constructor(id, board, changed) {
    Object.assign(this, { id, changed, engine: new Engine(id), place: el("section", { class: "sound", "aria-labelledby": "sound-head" }) });
    this.key = `sound:${id}`;
    const kept = JSON.parse(localStorage.getItem(this.key) ?? "{}");
    this.chosen = { input: "", output: "", inChannel: 0, outChannel: 0, ...kept };
    this.accepted = sessionStorage.getItem("cautions") === "yes";
    this.before = board.before;
    this.tryDb = LOWEST_DB;
    // A level that was set in this tab, or the one that the takes were made with once the user says so.
    const set = sessionStorage.getItem(`level:${id}`);
    this.playedDb = set === null ? null : Number(set);
    this.latency_s = Number(sessionStorage.getItem(`latency:${id}`) ?? GUESS_S);
    this.busy = false;
  }

  keep() {
    localStorage.setItem(this.key, JSON.stringify(this.chosen));
    if (this.playedDb !== null) sessionStorage.setItem(`level:${this.id}`, this.playedDb);
    sessionStorage.setItem(`latency:${this.id}`, this.latency_s);
  }

  get ready() {
    return this.accepted && this.playedDb !== null;
  }

  async draw() {
    const parts = [el("h2", { id: "sound-head" }, say("sound.heading"))];
    if (!supported()) parts.push(notice("bad", el("p", {}, say("sound.no_browser"))));
    else if (!this.accepted) parts.push(this.cautions());
    else {
      parts.push(await this.devices());
      parts.push(this.level());
    }
    fill(this.place, parts);
  }

  cautions() {
    const box = unique("accept");
    const go = button(say("caution.go"), async () => {
      this.accepted = true;
      sessionStorage.setItem("cautions", "yes");
      await this.draw();
      this.changed();
      this.place.querySelector("button, select")?.focus();
    }, { class: "key", disabled: true, id: "accept-cautions" });
    return notice(
      "care",
      el("h3", {}, say("caution.heading")),
      el("ul", {}, ["ears", "speaker", "ladder", "mains"].map((k) => el("li", {}, el("strong", {}, say(`caution.${k}_head`)), " ", say(`caution.${k}`)))),
      el("p", { class: "tick" }, el("input", { type: "checkbox", id: box, onchange: (e) => (go.disabled = !e.target.checked) }), el("label", { for: box }, say("caution.accept"))),
      el("p", {}, go),
    );
  }

  async devices() {
    const { inputs, outputs } = await list();
    const named = inputs.some((d) => d.label);
    if (!named) {
      const wrong = el("p", { class: "wrong", role: "alert" });
      return el("div", {}, el("p", {}, say("sound.ask")), el("p", {}, button(say("sound.allow"), async () => {
        try {
          const { stream } = await microphone("");
          stream.getTracks().forEach((t) => t.stop());
          await this.draw();
          this.place.querySelector("select")?.focus();
        } catch (error) {
          wrong.textContent = why(error);
        }
      }, { class: "key", id: "allow-mic" })), wrong);
    }
    const pick = (label, name, options, hint) => {
      const id = unique(name);
      const select = el("select", { id, "aria-describedby": hint ? `${id}-hint` : null }, options.map(([value, text]) => el("option", { value, selected: String(value) === String(this.chosen[name]) }, text)));
      select.addEventListener("change", async () => {
        this.chosen[name] = name.endsWith("Channel") ? Number(select.value) : select.value;
        this.keep();
        await this.look();
      });
      return el("div", { class: "field" }, el("label", { for: id }, label), select, hint ? el("p", { class: "hint", id: `${id}-hint` }, hint) : null);
    };
    const known = (devices) => devices.some((d) => d.deviceId === this.chosen.input || d.deviceId === this.chosen.output);
    const gone = (this.chosen.input && !known(inputs)) || (this.chosen.output && !known(outputs));
    if (gone) Object.assign(this.chosen, { input: "", output: "" });
    const usual = ["", say("sound.usual")];
    const names = (devices) => [usual, ...devices.filter((d) => d.deviceId !== "default").map((d, i) => [d.deviceId, d.label || say("sound.device", { n: i + 1 })])];
    const canChoose = "setSinkId" in AudioContext.prototype && outputs.length > 0;
    const channels = (n) => Array.from({ length: n }, (_, i) => [i, say("sound.channel", { n: i + 1 })]);
    const outN = Math.max(this.outN ?? 2, this.chosen.outChannel + 1);
    const inN = Math.max(this.inN ?? 1, this.chosen.inChannel + 1);
    this.told = el("div", { role: "status" });
    return el(
      "div",
      {},
      gone ? notice("doubt", el("p", {}, say("sound.gone"))) : null,
      el("div", { class: "two" },
        canChoose ? pick(say("sound.output"), "output", names(outputs)) : el("div", { class: "field" }, el("p", {}, say("sound.output_fixed"))),
        pick(say("sound.out_channel"), "outChannel", channels(outN), outN <= 2 ? say("sound.two_channels") : null),
        pick(say("sound.input"), "input", names(inputs)),
        pick(say("sound.in_channel"), "inChannel", channels(inN))),
      this.told,
    );
  }

  // Opens the devices and shows what they are.
  async look() {
    try {
      await this.engine.open(this.chosen);
      const [out, inn] = [this.engine.outChannels, this.engine.channels];
      if (out !== this.outN || inn !== this.inN) {
        Object.assign(this, { outN: out, inN: inn });
        await this.draw();
      }
      const state = processing(this.engine.track);
      const facts = say("sound.facts", { out: this.engine.play.sampleRate, in: this.engine.hear.sampleRate });
      if (state.state === "on") fill(this.told, notice("bad", el("p", {}, say("rec.treated", { what: state.words }))));
      else fill(this.told, el("p", { class: "small" }, facts, " ", say(state.state === "off" ? "sound.plain" : "sound.not_told")));
    } catch (error) {
      fill(this.told, notice("bad", el("p", {}, error.message)));
    }
  }

  level() {
    this.out = el("div", { class: "level", role: "status" });
    this.actions = el("div", { class: "keys" });
    const kept = this.before?.played_db;
    const section = el("div", { class: "setting-level" }, el("h3", {}, say("level.heading")));
    if (this.playedDb !== null) {
      section.append(
        el("p", {}, say("level.set", { db: number(this.playedDb, 0) })),
        el("p", {}, button(say("level.again"), () => ((this.playedDb = null), sessionStorage.removeItem(`level:${this.id}`), (this.tryDb = LOWEST_DB), this.draw(), this.changed()))),
      );
      if (kept !== null && kept !== undefined && kept !== this.playedDb) section.append(notice("doubt", el("p", {}, say("level.other", { db: number(kept, 0) }))));
      return section;
    }
    if (kept !== null && kept !== undefined) {
      section.append(el("p", {}, say("level.before", { db: number(kept, 0) })), el("p", {}, button(say("level.use", { db: number(kept, 0) }), () => this.settle(kept), { class: "key", id: "use-level" })));
    }
    section.append(el("p", {}, say("level.how")), this.out, this.actions);
    this.offer(null);
    return section;
  }

  settle(db) {
    this.playedDb = db;
    this.keep();
    announce(say("level.set", { db: number(db, 0) }));
    this.draw();
    this.changed();
  }

  // Which steps come now.
  offer(look) {
    const noise = button(say(this.noise ? "level.noise_again" : "level.noise"), () => this.measure(null), { id: "measure-noise", class: this.noise ? null : "key" });
    const keys = [noise];
    if (this.noise) {
      const at = this.triedDb;
      if (at === undefined) keys.push(button(say("level.first", { db: number(LOWEST_DB, 0) }), () => this.measure(LOWEST_DB), { class: "key", id: "play-first" }));
      else {
        keys.push(button(say("level.same", { db: number(at, 0) }), () => this.measure(at)));
        for (const step of STEPS_DB) {
          const db = Math.min(0, at + step);
          if (db > at) keys.push(button(say("level.up", { step, db: number(db, 0) }), () => this.measure(db), { id: `up-${step}` }));
        }
        keys.push(button(say("level.down", { db: number(at - 6, 0) }), () => this.measure(at - 6)));
        if (look && !look.clipped) keys.push(button(say(this.enough ? "level.right" : "level.right_anyway"), () => this.settle(at), { class: this.enough ? "key" : null, id: "level-right" }));
      }
    }
    fill(this.actions, keys);
  }

  // Listens to the room alone, or plays the sweep at a level, and shows what came back.
  async measure(gainDb) {
    if (this.busy) return;
    this.busy = true;
    const bar = el("progress", { max: 1, value: 0, "aria-label": say("level.progress") });
    const stop = button(say("rec.stop"), () => this.engine.stop(), { class: "stop" });
    fill(this.actions, stop);
    fill(this.out, el("p", {}, say(gainDb === null ? "level.listening" : "level.playing")), bar);
    stop.focus();
    try {
      await this.engine.open(this.chosen);
      const take = await this.engine.record({
        gainDb, lead_s: gainDb === null ? NOISE_S : LEAD_S, tail_s: gainDb === null ? 0 : 0.6, latency_s: gainDb === null ? 0 : this.latency_s,
        onlevel: (peak, part) => (bar.value = part),
      });
      const look = await this.ask(take, gainDb ?? 0);
      if (gainDb === null) this.noise = look;
      else {
        this.triedDb = gainDb;
        this.learn(look, take);
      }
      // May draw anew where the devices turn out to have other channels.
      await this.look();
      this.show(look, gainDb);
      this.offer(gainDb === null ? null : look);
    } catch (error) {
      fill(this.out, notice("bad", el("p", {}, error.message)));
      if (!(error instanceof Spoiled)) console.error(error);
      this.offer(null);
    }
    this.busy = false;
    this.actions.querySelector(".key, button")?.focus();
  }

  // How late the sweep comes back tells how long to wait for it.
  learn(look, take) {
    if (look.start_s === null || take.played_s === undefined) return;
    const late = look.start_s - take.played_s;
    if (late > -0.1 && late < 3) this.latency_s = Math.max(0.05, late + 0.05);
    this.keep();
  }

  about(take, played_db) {
    return { rate_hz: take.rate, lost: 0, processing: take.processing, device: take.device, channel: this.chosen.inChannel + 1, played_db };
  }

  ask(take, played_db) {
    return send(job(this.id, `/level?${query(this.about(take, played_db))}`), take.samples.slice().buffer);
  }

  show(look, gainDb) {
    if (gainDb === null) {
      const said = say("level.noise_is", { db: number(look.noise_dbfs, 0) });
      fill(this.out, el("p", {}, said));
      return announce(said);
    }
    const weak = look.weakest;
    // What came back is not the sweep: louder would help nobody where the channel is another one.
    const other = look.findings.some((f) => f.topic === "wrong_signal");
    this.enough = weak !== null && !other && weak.snr_db >= look.enough_db && !look.clipped;
    const spoiled = look.findings.filter((f) => f.verdict === "repeat" && !["noise", "low_level", "wrong_signal"].includes(f.topic));
    const lines = [];
    if (look.clipped) lines.push(say("level.clipped"));
    else if (!weak || other) lines.push(say("level.not_heard"));
    else lines.push(say(this.enough ? "level.enough" : "level.more", { band: hertz(weak.hz), db: number(weak.snr_db, 0), enough: number(look.enough_db, 0) }));
    lines.push(say("level.peak", { db: number(look.peak_dbfs, 0) }));
    lines.push(...spoiled.map((f) => `${f.message} ${f.advice}`));
    const rows = look.bands.filter((b) => b.snr_db !== null);
    fill(
      this.out,
      lines.map((line, i) => el("p", { class: i === 0 ? (this.enough ? "good" : "doubt") : null }, line)),
      rows.length ? el("details", {}, el("summary", {}, say("level.bands")), el("div", { class: "scroll", tabindex: 0, role: "group", "aria-label": say("level.bands") }, el("table", {}, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, say("level.band")), el("th", { scope: "col" }, say("level.above")))), el("tbody", {}, rows.map((b) => el("tr", {}, el("th", { scope: "row" }, hertz(b.hz)), el("td", {}, `${number(b.snr_db, 0)} dB`))))))) : null,
    );
    announce(lines.join(" "));
  }
}
