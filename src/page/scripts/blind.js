// A blind test: which of A and B is X? The draw stays on the server until the last answer.
import { job, post } from "./ask.js";
import { announce, button, el, fill, notice, unique } from "./dom.js";
import { volume } from "./volume.js";
import { number, say } from "./words.js";

const ROUNDS = [8, 10, 12, 16, 20];
const USUAL = 16;
const KEYS = ["a", "b", "x"];

const today = () => {
  const now = new Date();
  return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
};

// Tests that were kept in the job.
export function kept(all) {
  if (!all.length) return [];
  const row = (t) => el("tr", {}, el("th", { scope: "row" }, t.date), el("td", { class: "word" }, t.listener), el("td", { class: "word" }, say("blind.heard", { first: t.first, second: t.second, sound: t.sound, seat: t.seat }), " ", say(t.matched ? "blind.equally_loud" : "blind.as_loud")), el("td", { class: "word" }, t.sentence));
  const heads = ["date", "listener", "what", "result"].map((k) => el("th", { scope: "col" }, say(`blind.head_${k}`)));
  return [el("h2", {}, say("blind.kept")), el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": say("blind.kept") }, el("table", { class: "words" }, el("thead", {}, el("tr", {}, heads)), el("tbody", {}, all.map(row)))), el("p", { class: "hint" }, say("blind.kept_hint"))];
}

export class Blind {
  constructor(id, player, place, keptChanged) {
    Object.assign(this, { id, player, place, keptChanged, running: null, made: null, rounds: USUAL, pair: [0, 1], matched: true, trained: false });
  }

  offer(made) {
    this.made = made;
    this.pair = [0, 1];
    this.draw();
  }

  end() {
    this.running = null;
    fill(this.place);
  }

  // Before the test: what against what.
  draw(...told) {
    const { versions } = this.made;
    const pairs = versions.flatMap((_, i) => versions.map((_, k) => [i, k])).filter(([i, k]) => i < k);
    const select = (label, options, chosen, onchange) => {
      const id = unique("blind");
      return el("div", { class: "field" }, el("label", { for: id }, label), el("select", { id, onchange }, options.map(([value, text]) => el("option", { value, selected: value === chosen }, text))));
    };
    const box = unique("matched");
    fill(
      this.place,
      el("h2", { tabindex: -1 }, say("blind.heading")),
      told,
      el("p", {}, say("blind.intro")),
      el("div", { class: "two wide" },
        select(say("blind.pair"), pairs.map((p) => [p.join(), say("blind.against", { first: versions[p[0]].title, second: versions[p[1]].title })]), this.pair.join(), (e) => (this.pair = e.target.value.split(",").map(Number))),
        select(say("blind.rounds"), ROUNDS.map((n) => [n, say("blind.n_rounds", { n })]), this.rounds, (e) => (this.rounds = Number(e.target.value)))),
      el("p", { class: "tick" }, el("input", { type: "checkbox", id: box, checked: this.matched, onchange: (e) => (this.matched = e.target.checked) }), el("label", { for: box }, say("blind.matched"))),
      el("div", { class: "keys" },
        button(say("blind.train"), () => this.begin(true), { id: "train", class: this.trained ? null : "key" }),
        button(say("blind.begin"), () => this.begin(false), { id: "begin-test", class: this.trained ? "key" : null })),
      el("p", { class: "hint" }, say("blind.honest")),
    );
  }

  address(key) {
    const { test, round } = this.running;
    return job(this.id, `/listen/test/${test}/${round}/${key}`);
  }

  async begin(training) {
    try {
      const drawn = await post(job(this.id, "/listen/test"), { number: this.made.number, pair: this.pair, matched: this.matched, rounds: this.rounds, training });
      this.running = { ...drawn, round: 0, training, ready: false };
      this.started();
      await this.player.load(KEYS.map((key) => this.address(key)));
      await this.round();
    } catch (error) {
      this.running = null;
      await this.back(notice("bad", el("p", {}, error.message)));
    }
  }

  async round() {
    const { round, rounds, training } = this.running;
    this.player.heard = 0;
    this.choices = KEYS.map((key, i) =>
      el("button", { type: "button", class: "version letter", "data-key": key, "aria-pressed": i === 0 ? "true" : "false", onclick: () => this.hear(i) }, el("span", { class: "what" }, key.toUpperCase())));
    const answer = (side, name) => button(say("blind.x_is", { side: name }), () => this.answer(side), { class: "large", "data-answer": side });
    fill(
      this.place,
      el("h2", { tabindex: -1, id: "round" }, training ? say("blind.training") : say("blind.round", { n: round + 1, rounds })),
      training ? el("p", {}, say("blind.training_hint")) : el("progress", { max: rounds, value: round, "aria-label": say("blind.progress") }),
      el("div", { class: "versions", role: "group", "aria-label": say("blind.keys") }, this.choices),
      el("p", {}, say("blind.question")),
      el("div", { class: "keys" }, answer("a", "A"), answer("b", "B"), button(say("blind.leave"), () => this.leave(), { id: "leave-test" })),
      el("p", { class: "hint" }, say("blind.keyboard")),
      volume(this.player),
    );
    this.running.ready = true;
    this.place.querySelector("#round").focus();
    announce(training ? say("blind.training") : say("blind.round", { n: round + 1, rounds }));
    await this.player.play();
  }

  hear(which) {
    this.player.hear(which);
    this.choices.forEach((b, i) => b.setAttribute("aria-pressed", i === which ? "true" : "false"));
  }

  async answer(side) {
    const running = this.running;
    // One answer a round, however often a key is pressed.
    if (!running?.ready) return;
    running.ready = false;
    try {
      const stand = await post(job(this.id, `/listen/test/${running.test}/answer`), { round: running.round, side });
      if (running !== this.running) return;
      if (stand.outcome) return await this.finish(stand);
      running.round = stand.open_round;
      await this.player.exchange(2, this.address("x"));
      if (running === this.running) await this.round();
    } catch (error) {
      this.running = null;
      await this.back(notice("bad", el("p", {}, error.message)));
    }
  }

  leave() {
    this.running = null;
    return this.back(notice("doubt", el("p", {}, say("blind.left"))));
  }

  // The versions of the page come back to the keys above.
  async back(...told) {
    this.player.stop();
    this.draw(...told);
    this.place.querySelector("h2").focus();
    await this.restore();
  }

  async finish({ outcome, names }) {
    const { test, training } = this.running;
    this.running = null;
    if (training) {
      this.trained = outcome.right === 1;
      return this.back(notice(this.trained ? "good" : "doubt", el("p", {}, say(this.trained ? "blind.trained" : "blind.not_trained"))));
    }
    const rows = outcome.x.map((x, i) => el("tr", {}, el("th", { scope: "row" }, i + 1), el("td", {}, x.toUpperCase()), el("td", {}, outcome.answers[i].toUpperCase()), el("td", { class: "word" }, say(x === outcome.answers[i] ? "blind.right" : "blind.wrong"))));
    const heads = ["round", "x", "said", "right"].map((k) => el("th", { scope: "col" }, say(`blind.head_${k}`)));
    await this.back(
      notice(outcome.shown ? "good" : "care", el("p", { class: "finding", id: "outcome" }, outcome.sentence), el("p", {}, say("blind.names", { a: names[0], b: names[1] })), el("p", { class: "small" }, say("blind.chance", { percent: number(100 * outcome.guessing, outcome.guessing < 0.1 ? 2 : 0) })),
        el("details", {}, el("summary", {}, say("blind.rounds_list")), el("div", { class: "scroll" }, el("table", {}, el("thead", {}, el("tr", {}, heads)), el("tbody", {}, rows))))),
      this.keep(test),
    );
    announce(outcome.sentence);
  }

  keep(test) {
    const id = unique("initials");
    const wrong = el("p", { class: "wrong", role: "alert" });
    const input = el("input", { id, maxlength: 8, autocomplete: "off" });
    const form = el("form", { class: "keep" }, el("div", { class: "field" }, el("label", { for: id }, say("blind.initials")), el("div", { class: "entry" }, input, el("button", { class: "key", id: "keep-test" }, say("blind.keep"))), wrong, el("p", { class: "hint" }, say("blind.keep_hint"))));
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      try {
        this.keptChanged(await post(job(this.id, `/listen/test/${test}/keep`), { initials: input.value, date: today() }));
        fill(form, el("p", { class: "saved", role: "status" }, say("blind.saved")));
      } catch (error) {
        wrong.textContent = error.message;
      }
    });
    return form;
  }

  // A, B and X are listened to by their letters; 1 and 2 answer; Escape leaves.
  key(event) {
    const key = event.key.toLowerCase();
    const which = KEYS.indexOf(key);
    if (which >= 0) this.hear(which);
    else if (key === "1" || key === "2") this.answer(key === "1" ? "a" : "b");
    else if (key === "escape") this.leave();
    else return;
    event.preventDefault();
  }
}
