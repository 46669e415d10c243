// The takes of a job: which comes next, the board, one cell, and the recorder.
import { get, job, post, query, send } from "./ask.js";
import { announce, button, el, fill, notice } from "./dom.js";
import { Spoiled } from "./engine.js";
import { dropping } from "./dropped.js";
import { LEAD_S, Sound } from "./sound.js";
import { say } from "./words.js";

const CONDITIONS = ["without", "with", "corrected"];
const GLANCE_S = 0.35;
const TAIL_S = 1.5;

const same = (a, b) => a && b && a.seat === b.seat && a.condition === b.condition && a.spot === b.spot && a.source === b.source && Boolean(a.quiet) === Boolean(b.quiet);
const QUIET_DB = 10;

class Takes {
  constructor(id, board) {
    this.id = id;
    this.board = board;
    this.spots = Number(localStorage.getItem(`spots:${id}`)) || null;
    this.cell = null;
    this.controls = board.takes.some((t) => t.source === "control");
    this.corrected = board.takes.some((t) => t.condition === "corrected");
    this.quiets = board.takes.some((t) => t.quiet);
    this.speak = localStorage.getItem("speak") === "yes";
    this.sound = new Sound(id, board, () => this.drawNext());
    this.next = el("section", { class: "next", "aria-labelledby": "next-head" });
    this.grid = el("section", { class: "board", "aria-labelledby": "board-head" });
    this.about = el("section", { class: "about-cell", "aria-live": "polite" });
  }

  async load() {
    const board = await get(job(this.id, `/board?${query({ spots: this.spots })}`));
    // Drawn anew only where something is new: the focus stays where it is.
    if (JSON.stringify(board) === JSON.stringify(this.board)) return;
    this.board = board;
    this.draw();
  }

  draw() {
    this.drawNext();
    this.drawBoard();
    this.drawCell();
  }

  get target() {
    return this.cell ?? this.board.next;
  }

  words(place) {
    const seat = this.board.seats.find((s) => s.id === place.seat);
    const name = seat?.name ? `${place.seat} (${seat.name})` : place.seat;
    const what = this.what(place);
    return say("next.place", { seat: name, condition: say(`condition.${place.condition}`), what });
  }

  what(place) {
    if (place.quiet) return say("board.quiet", { n: place.spot });
    return place.source === "control" ? say("board.control") : say("board.spot", { n: place.spot });
  }

  // The quiet take belongs to the place where the microphone stands: the last spot that has a take.
  quietPlace(seat, condition) {
    const here = this.board.takes.filter((t) => t.seat === seat.id && t.condition === condition && t.source === "centre");
    const made = here.find((t) => t.quiet);
    return { seat: seat.id, condition, spot: made?.spot ?? Math.max(1, ...here.map((t) => t.spot)), source: "centre", quiet: true };
  }

  // Takes that are listed one by one: a way on, where their names say the same.
  listed() {
    const b = this.board;
    const unlist = async () => {
      const { fingerprint } = await get(job(this.id, "/settings"));
      await post(job(this.id, "/settings"), { fingerprint, changes: [{ path: ["take"], value: null }] });
      location.reload();
    };
    return notice(
      "doubt",
      el("p", {}, say("listed.why"), " ", b.next ? null : say("listed.complete")),
      el("p", { class: "keys" },
        b.next ? null : el("a", { class: "key", href: `/job/${encodeURIComponent(this.id)}/result` }, say("next.result")),
        b.named ? button(say("listed.by_name"), unlist) : null),
    );
  }

  drawNext() {
    const head = el("h2", { id: "next-head" }, this.cell ? say("next.chosen") : say("next.heading"));
    const target = this.target;
    const b = this.board;
    if (b.listed) return fill(this.next, head, this.listed());
    if (b.reference_channel) return fill(this.next, head, notice("doubt", el("p", {}, say("error.reference"))));
    if (!b.seats.length) return fill(this.next, head, notice("doubt", el("p", {}, say("next.no_seats")), el("p", {}, el("a", { href: `/job/${encodeURIComponent(this.id)}/room` }, say("nav.room")))));
    if (!target) {
      this.live = el("div", { class: "live" });
      this.drawLast();
      return fill(this.next, head, el("p", { class: "place" }, say("next.done")), el("p", {}, el("a", { class: "key", href: `/job/${encodeURIComponent(this.id)}/result` }, say("next.result"))), this.live);
    }
    const repeat = this.takeAt(target);
    const key = button(say(repeat ? "next.record_again" : "next.record"), () => this.record(), { class: "key large", id: "record", disabled: !this.sound.ready });
    this.live = el("div", { class: "live" });
    this.drawLast();
    const first = target.condition === "with" && !b.takes.some((t) => t.condition === "with");
    fill(
      this.next,
      head,
      el("p", { class: "place" }, this.words(target)),
      first ? notice("care", el("p", {}, say("next.hang"))) : null,
      el("p", {}, say(target.quiet ? "next.quiet" : target.spot > 1 && target.source !== "control" ? "next.lift" : "next.put")),
      el("p", { class: "keys" }, key, this.cell ? button(say("next.leave"), () => ((this.cell = null), this.draw())) : null),
      this.sound.ready ? null : el("p", {}, el("a", { href: "#sound-head" }, say("next.first_sound"))),
      this.live,
    );
  }

  // What became of the last try, until the next one.
  drawLast() {
    if (!this.last) return;
    if (this.last.failed) return fill(this.live, notice("bad", el("p", {}, this.last.failed), el("p", {}, say("rec.nothing_kept"))));
    const made = this.board.takes.find((t) => t.file === this.last.file);
    if (made) fill(this.live, el("div", { class: "last", id: "last-take", "data-file": made.file, "data-verdict": made.verdict }, el("h3", {}, say("next.last", { place: this.words(made) })), this.findings(made), el("p", { class: "keys" }, button(say("cell.aside"), () => this.aside(made)))));
  }

  takeAt(place) {
    return this.board.takes.find((t) => same(t, place));
  }

  drawBoard() {
    const b = this.board;
    const conditions = CONDITIONS.filter((c) => c !== "corrected" || this.corrected);
    const cellsOf = (seat, condition) => {
      const spots = Array.from({ length: b.spots }, (_, i) => ({ seat: seat.id, condition, spot: i + 1, source: "centre" }));
      const control = this.controls && condition !== "corrected" ? [{ seat: seat.id, condition, spot: 1, source: "control" }] : [];
      const quiet = this.quiets && condition !== "corrected" ? [this.quietPlace(seat, condition)] : [];
      return [...spots, ...control, ...quiet];
    };
    const cell = (place) => {
      const take = this.takeAt(place);
      const what = this.what(place);
      const state = take ? say(`verdict.${take.verdict}`) : say("verdict.none");
      const isNext = same(place, b.next);
      return el(
        "button",
        {
          type: "button",
          class: `cell ${take?.verdict ?? "empty"}${isNext ? " is-next" : ""}`,
          "aria-pressed": String(Boolean(same(place, this.cell))),
          onclick: () => {
            this.cell = same(place, this.cell) ? null : place;
            this.draw();
            // Drawn anew: the focus stays on the same cell.
            this.grid.querySelector('[aria-pressed="true"]')?.focus();
          },
        },
        el("span", { class: "unseen" }, `${place.seat}, ${say(`condition.${place.condition}`)}, `),
        el("span", { class: "what" }, what),
        el("span", { class: "unseen" }, ", "),
        el("span", { class: "state" }, isNext && !take ? say("board.is_next") : state),
        isNext && take ? el("span", { class: "unseen" }, `, ${say("board.is_next")}`) : null,
      );
    };
    const seat = (s) =>
      el("li", { class: "seat-card" },
        el("h3", {}, s.id, s.name ? el("span", { class: "small" }, ` ${s.name}`) : null),
        conditions.map((c) => el("div", { class: "line", role: "group", "aria-label": `${s.id}, ${say(`condition.${c}`)}` }, el("p", { class: "condition" }, say(`condition.${c}`)), el("div", { class: "cells" }, cellsOf(s, c).map(cell)))));
    const counts = b.takes.length ? say("board.counts", { n: b.takes.length, good: b.n_good, doubt: b.n_doubt, repeat: b.n_repeat }) : say("board.empty");
    fill(
      this.grid,
      el("h2", { id: "board-head" }, say("board.heading")),
      el("p", {}, counts),
      b.takes.length ? el("p", { class: "hint" }, b.linearity) : null,
      el("ul", { class: "seat-cards" }, b.seats.map(seat)),
      el("p", { class: "keys" },
        button(say("board.more_spots"), () => this.setSpots(b.spots + 1)),
        b.spots > 1 ? button(say("board.fewer_spots"), () => this.setSpots(b.spots - 1)) : null,
        this.controls ? null : button(say("board.add_control"), () => ((this.controls = true), this.drawBoard())),
        this.quiets ? null : button(say("board.add_quiet"), () => ((this.quiets = true), this.drawBoard())),
        this.corrected ? null : button(say("board.add_corrected"), () => ((this.corrected = true), this.drawBoard()))),
      b.warnings.length ? el("details", { open: b.takes.length > 0 }, el("summary", {}, say("board.warnings", { n: b.warnings.length })), el("ul", {}, b.warnings.map((w) => el("li", {}, `${w.message} ${w.advice}`)))) : null,
    );
  }

  setSpots(n) {
    this.spots = n;
    localStorage.setItem(`spots:${this.id}`, n);
    return this.load();
  }

  drawCell() {
    const take = this.cell ? this.takeAt(this.cell) : null;
    if (!take) return fill(this.about);
    fill(this.about, el("h2", {}, this.words(take)), ...this.findings(take), el("p", { class: "keys" }, button(say("cell.aside"), () => this.aside(take))), el("p", { class: "hint" }, say("cell.aside_hint")));
  }

  findings(take) {
    const said = take.findings.map((f) => el("li", { class: f.verdict }, el("p", {}, f.message), el("p", { class: "small" }, f.advice)));
    return [
      el("p", { class: `verdict ${take.verdict}` }, say(`verdict.${take.verdict}`)),
      said.length ? el("ul", { class: "findings" }, said) : el("p", {}, say("cell.nothing")),
    ];
  }

  async aside(take) {
    try {
      this.board = await post(job(this.id, "/aside"), { file: take.file, spots: this.spots });
      announce(say("cell.is_aside"));
    } catch (error) {
      fill(this.about, notice("bad", el("p", {}, error.message)));
      return;
    }
    this.draw();
  }

  // Spoken where the user wishes it, and always there for a screen reader.
  tell(text) {
    announce(text);
    if (!this.speak || !window.speechSynthesis) return;
    speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = say("language.code");
    speechSynthesis.speak(words);
  }

  async record() {
    if (this.sound.busy) return;
    const place = this.target;
    const sound = this.sound;
    sound.busy = true;
    this.last = null;
    const bar = el("progress", { max: 1, value: 0, "aria-label": say("next.progress") });
    const meter = el("meter", { min: -80, max: 0, low: -50, high: -6, optimum: -20, value: -80, "aria-label": say("next.level") });
    const phase = el("p", { role: "status" }, say("next.silence"));
    const stop = button(say("rec.stop"), () => sound.engine.stop(), { class: "stop large", id: "stop" });
    fill(this.live, phase, bar, meter, el("p", {}, stop), el("p", { class: "hint" }, say("rec.space")));
    this.next.querySelector("#record").disabled = true;
    stop.focus();
    let glimpse = null;
    try {
      await sound.engine.open(sound.chosen);
      const take = await sound.engine.record({
        gainDb: this.gainDb(place), lead_s: LEAD_S, tail_s: TAIL_S, latency_s: sound.latency_s, glance_s: GLANCE_S,
        onlevel: (peak, part, playing) => {
          bar.value = part;
          meter.value = peak > 0 ? Math.max(-80, 20 * Math.log10(peak)) : -80;
          if (playing && phase.dataset.now !== "sweep") (phase.dataset.now = "sweep"), (phase.textContent = say("next.sweep"));
        },
        glance: (samples, rate, at) => (glimpse = this.glance(samples, rate, at, phase)),
      });
      await glimpse;
      await this.file(place, take);
    } catch (error) {
      this.last = { failed: error.message };
      this.drawNext();
      this.tell(error.message);
      if (!(error instanceof Spoiled)) console.error(error);
    }
    sound.busy = false;
    document.getElementById("record")?.focus();
  }

  gainDb(place) {
    return this.sound.playedDb - (place.quiet ? QUIET_DB : 0);
  }

  // A first verdict while the silence after the sweep is still recorded.
  async glance(samples, rate, at, phase) {
    const { sound } = this;
    const track = sound.engine.track;
    try {
      const look = await sound.ask({ samples, rate, processing: "off", device: track?.label ?? "" }, sound.playedDb);
      const first = look.findings.find((f) => f.verdict === look.verdict && look.verdict !== "good");
      const said = first ? `${say(`verdict.${look.verdict}`)}: ${first.message} ${first.advice}` : say("next.sounds_good");
      phase.textContent = `${said} ${say("next.still")}`;
      phase.dataset.verdict = look.verdict;
      phase.dataset.ms = Math.round(performance.now() - at);
      this.lastGlance = { verdict: look.verdict, ms: performance.now() - at + GLANCE_S * 1000 };
    } catch {
      // The take itself is judged in any case.
    }
  }

  async file(place, take) {
    const { sound } = this;
    const about = sound.about(take, this.gainDb(place));
    const where = { seat: place.seat, condition: place.condition, spot: place.spot, control: place.source === "control", quiet: Boolean(place.quiet), spots: this.spots };
    const filed = await send(job(this.id, `/take?${query({ ...about, ...where })}`), take.samples.slice().buffer);
    this.board = filed.board;
    sound.before = filed.board.before;
    this.cell = null;
    this.last = { file: filed.file };
    this.draw();
    const made = this.board.takes.find((t) => t.file === filed.file);
    const next = this.board.next ? say("next.then", { place: this.words(this.board.next) }) : say("next.done");
    const worst = made?.findings.find((f) => f.verdict === made.verdict && made.verdict !== "good");
    const said = made ? `${say(`verdict.${made.verdict}`)}. ${worst ? `${worst.message} ${worst.advice} ` : ""}` : "";
    this.tell(`${said}${next}`);
  }
}

export async function draw(place, id) {
  const spots = Number(localStorage.getItem(`spots:${id}`)) || null;
  const board = await get(job(id, `/board?${query({ spots })}`));
  const takes = new Takes(id, board);
  const speak = el("input", { type: "checkbox", id: "speak", checked: takes.speak, onchange: (e) => ((takes.speak = e.target.checked), localStorage.setItem("speak", e.target.checked ? "yes" : "no")) });
  fill(
    place,
    el("h1", {}, say("takes.heading")),
    el("div", { class: "work" },
      el("div", {}, takes.next, takes.sound.place),
      el("div", {}, takes.grid, takes.about)),
    el("p", { class: "tick" }, speak, el("label", { for: "speak" }, say("takes.speak"))),
    dropping(id, () => takes.load()),
  );
  takes.draw();
  // Where nothing can be recorded here there is no sound to settle.
  if (board.listed || board.reference_channel) takes.sound.place.hidden = true;
  else await takes.sound.draw();
  takes.drawNext();
  // Space stops the sound wherever the focus is.
  window.addEventListener("keydown", (event) => {
    if (event.code === "Space" && takes.sound.engine.fail) {
      event.preventDefault();
      event.stopPropagation();
      takes.sound.engine.stop();
    }
  }, true);
  navigator.mediaDevices?.addEventListener("devicechange", () => takes.sound.busy || takes.sound.place.hidden || takes.sound.draw());
  const events = new EventSource(job(id, "/events"));
  events.addEventListener("changed", () => takes.sound.busy || takes.load());
  window.scrimcheckTakes = takes;
  return say("nav.takes");
}
