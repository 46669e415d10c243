// What the screen does, to listen to: versions of one sound behind three large keys, and a blind test.
import { get, job, post, query, send } from "./ask.js";
import { Blind, kept } from "./blind.js";
import { announce, button, el, fill, notice, unique } from "./dom.js";
import { Player } from "./player.js";
import { volume } from "./volume.js";
import { number, say } from "./words.js";

const OWN = "own";

function cautions(go) {
  const box = unique("accept");
  const on = button(say("listen.go"), go, { class: "key", disabled: true, id: "accept-volume" });
  return notice(
    "care",
    el("h2", {}, say("caution.heading")),
    el("ul", {}, ["volume", "ears", "tweeter"].map((k) => el("li", {}, say(`listen.care_${k}`)))),
    el("p", { class: "tick" }, el("input", { type: "checkbox", id: box, onchange: (e) => (on.disabled = !e.target.checked) }), el("label", { for: box }, say("listen.accept"))),
    el("p", {}, on),
  );
}

class Listen {
  constructor(id, choices, jobs) {
    Object.assign(this, { id, choices, jobs, player: new Player(), made: null, matched: false, own: null });
    Object.assign(this, { chosen: { seat: choices.seat, sound: choices.sounds[0].key, against: "", sheet: "" } });
    Object.assign(this, { place: el("div"), status: el("div", { role: "status" }), keys: el("div"), test: el("section", { class: "blind" }), list: el("section") });
    this.blind = new Blind(id, this.player, this.test, (all) => this.showKept(all));
    this.blind.started = () => ((this.form.hidden = true), (this.keys.hidden = true));
    this.blind.restore = () => this.restore();
    document.addEventListener("keydown", (event) => this.key(event));
    addEventListener("pagehide", () => this.player.stop());
    window.scrimcheckListen = this;
  }

  draw() {
    this.form = this.choose();
    fill(this.place, this.form, this.status, this.keys, this.test, this.list);
    this.showKept(this.choices.kept);
  }

  choose() {
    const pick = (name, label, options, hint) => {
      const id = unique(name);
      const select = el("select", { id, "data-choice": name }, options.map(([value, text]) => el("option", { value, selected: value === this.chosen[name] }, text)));
      select.addEventListener("change", () => {
        this.chosen[name] = select.value;
        if (name === "sound") this.file.hidden = select.value !== OWN;
        if (name !== "sound" || select.value !== OWN || this.own) this.make();
      });
      return el("div", { class: "field" }, el("label", { for: id }, label), select, hint ? el("p", { class: "hint" }, hint) : null);
    };
    const file = unique("file");
    const input = el("input", { type: "file", id: file, accept: ".wav,.flac,.aif,.aiff,.w64,.caf,audio/wav,audio/flac", onchange: (e) => this.upload(e.target.files[0]) });
    this.file = el("div", { class: "field", hidden: true }, el("label", { for: file }, say("listen.file")), input, el("p", { class: "hint" }, say("listen.file_hint")));
    const sounds = [...this.choices.sounds.map((s) => [s.key, s.title]), [OWN, say("listen.own")]];
    const others = this.jobs.map((j) => [j.id, j.sheet ? `${j.title} – ${j.sheet}` : j.title]);
    const words = unique("sheet");
    const sheet = el("input", { id: words, autocomplete: "off", placeholder: "weave:flow_resistance_pa_s_m=60,areal_mass_g_m2=250", onchange: (e) => ((this.chosen.sheet = e.target.value.trim()), this.make()) });
    return el(
      "form",
      { onsubmit: (e) => e.preventDefault() },
      el("div", { class: "two wide" }, pick("sound", say("listen.sound"), sounds), pick("seat", say("listen.seat"), this.choices.seats.map((s) => [s.key, s.title === s.key ? s.key : `${s.key}, ${s.title}`]))),
      this.file,
      el("details", {}, el("summary", {}, say("listen.more")),
        el("div", { class: "two wide" },
          others.length ? pick("against", say("listen.against"), [["", say("listen.against_none")], ...others], say("listen.against_hint")) : null,
          el("div", { class: "field" }, el("label", { for: words }, say("listen.sheet")), sheet, el("p", { class: "hint" }, say("listen.sheet_hint"))))),
    );
  }

  async upload(file) {
    if (!file) return;
    try {
      fill(this.status, el("p", {}, say("listen.working")));
      await send(job(this.id, `/listen/sound?${query({ name: file.name })}`), file, "PUT");
      this.own = file.name;
      await this.make();
    } catch (error) {
      fill(this.status, notice("bad", el("p", {}, error.message)));
    }
  }

  // Has the versions made, and loads them.
  async make() {
    const mine = (this.order = (this.order ?? 0) + 1);
    this.player.stop();
    this.blind.end();
    fill(this.keys);
    fill(this.status, el("p", {}, say("listen.working")), el("progress", { "aria-label": say("listen.working") }));
    const { seat, sound, against, sheet } = this.chosen;
    try {
      const made = await post(job(this.id, "/listen/hear"), { seat, sound, name: sound === OWN ? this.own : null, against: against || null, sheet });
      if (mine !== this.order) return;
      await this.player.load(this.addresses(made));
      if (mine !== this.order) return;
      this.made = made;
      this.setLevels();
      fill(this.status);
      this.show();
      this.blind.offer(made);
    } catch (error) {
      if (mine === this.order) fill(this.status, notice("bad", el("p", {}, error.message)));
    }
  }

  addresses(made) {
    return made.versions.map((_, i) => job(this.id, `/listen/heard/${made.number}/${i}`));
  }

  // After a blind test, whose sounds took the place of these.
  async restore() {
    this.form.hidden = this.keys.hidden = false;
    await this.player.load(this.addresses(this.made));
    this.setLevels();
    this.show();
  }

  setLevels() {
    this.player.level(this.made.versions.map((v) => (this.matched ? v.matched_gain_db : 0)));
  }

  show() {
    const { versions } = this.made;
    const softer = (v) => v.loudness_lufs + (this.matched ? v.matched_gain_db : 0) - versions[0].loudness_lufs;
    const level = (v, i) => (i === 0 ? say("listen.reference") : say("listen.level", { db: number(softer(v), 1) }));
    this.buttons = versions.map((v, i) =>
      el("button", { type: "button", class: "version", "aria-pressed": i === this.player.heard ? "true" : "false", "data-version": i, onclick: () => this.hear(i) },
        el("span", { class: "number", "aria-hidden": "true" }, i + 1), el("span", { class: "what" }, v.title), el("span", { class: "small" }, level(v, i))));
    this.go = button("", () => this.toggle(), { class: "key large", id: "play" });
    const name = unique("level");
    const way = (matched, text) => {
      const id = unique("way");
      return el("p", { class: "tick" }, el("input", { type: "radio", id, name, checked: matched === this.matched, onchange: () => ((this.matched = matched), this.setLevels(), this.show()), "data-matched": String(matched) }), el("label", { for: id }, text));
    };
    const focused = document.activeElement?.dataset?.matched;
    fill(
      this.keys,
      el("p", { class: "small" }, say("listen.now", { sound: this.made.title, seat: this.made.seat })),
      el("div", { class: "versions", role: "group", "aria-label": say("listen.versions") }, this.buttons),
      el("div", { class: "keys" }, this.go),
      el("p", { class: "hint" }, say("listen.keyboard", { n: versions.length })),
      el("div", { class: "two wide" },
        el("fieldset", { class: "plain" }, el("legend", {}, say("listen.levels")), way(false, say("listen.as_is")), way(true, say("listen.matched"))),
        volume(this.player)),
      this.made.headroom_gain_db < -0.05 ? el("p", { class: "small" }, say("listen.headroom", { db: number(-this.made.headroom_gain_db, 1) })) : null,
      el("details", {}, el("summary", {}, say("listen.basis")), el("ul", {}, this.made.notes.map((n) => el("li", {}, n)))),
    );
    if (focused !== undefined) this.keys.querySelector(`[data-matched="${focused}"]`)?.focus();
    this.state();
  }

  state() {
    this.buttons?.forEach((b, i) => b.setAttribute("aria-pressed", i === this.player.heard ? "true" : "false"));
    if (this.go) this.go.textContent = say(this.player.playing ? "listen.stop" : "listen.play");
  }

  async hear(which) {
    this.player.hear(which);
    this.state();
    announce(this.made.versions[which].title);
  }

  async toggle() {
    if (this.player.playing) this.player.stop();
    else await this.player.play();
    this.state();
  }

  // Digits switch, the space bar plays and stops; not while somebody types or chooses.
  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("select, textarea, input:not([type=radio], [type=checkbox], [type=range])")) return;
    if (this.blind.running) return this.blind.key(event);
    if (!this.made) return;
    const which = Number(event.key) - 1;
    if (this.made.versions[which]) this.hear(which);
    else if (event.key === " " && !event.target.closest("button, summary, a, input")) {
      event.preventDefault();
      this.toggle();
    }
  }

  showKept(all) {
    fill(this.list, kept(all));
  }
}

export async function draw(place, id) {
  const body = el("div");
  fill(place, el("h1", {}, say("listen.heading")), el("p", {}, say("listen.intro")), body);
  let choices;
  try {
    fill(body, el("p", { role: "status" }, say("result.working")), el("progress", { "aria-label": say("result.working") }));
    choices = await get(job(id, "/listen"));
  } catch (error) {
    fill(body, notice("bad", el("p", {}, say("listen.none")), el("p", { class: "reason" }, error.message)), el("p", { class: "keys" }, el("a", { class: "key", href: `/job/${encodeURIComponent(id)}/takes` }, say("nav.takes"))));
    return say("nav.listen");
  }
  const list = await get("/api/jobs");
  const others = list.jobs.filter((j) => j.id !== id && !j.problem && j.seats_done[0] > 0 && j.seats_done[1] > 0);
  const listen = new Listen(id, choices, others);
  const begin = async () => {
    sessionStorage.setItem("volume", "yes");
    listen.player.open();
    fill(body, listen.place);
    listen.draw();
    await listen.make();
    listen.place.querySelector("select")?.focus();
  };
  if (sessionStorage.getItem("volume") === "yes") {
    fill(body, listen.place);
    listen.draw();
    listen.make();
  } else fill(body, cautions(begin));
  return say("nav.listen");
}
