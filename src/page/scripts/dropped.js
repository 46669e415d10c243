// Recordings dropped on the page become takes, once the user has seen which is which.
import { job, post, query, send } from "./ask.js";
import { announce, button, el, fill, notice, unique } from "./dom.js";
import { number, say } from "./words.js";

const CONDITIONS = ["without", "with", "corrected"];

export function dropping(id, done) {
  const box = unique("files");
  const place = el("div", { role: "status" });
  const zone = el("section", { class: "drop", "aria-labelledby": `${box}-head` });
  let names = [];
  const options = { conditions: [], control: false, seats: [], spots: null };

  async function take(files) {
    names = [];
    const bar = el("progress", { max: files.length, value: 0, "aria-label": say("drop.progress") });
    fill(place, el("p", {}, say("drop.reading", { n: files.length })), bar);
    try {
      for (const file of files) {
        const taken = await send(job(id, `/upload?${query({ name: file.name })}`), file, "PUT");
        names.push(taken.name);
        bar.value += 1;
      }
      await look();
    } catch (error) {
      fill(place, notice("bad", el("p", {}, error.message)));
    }
  }

  async function look() {
    bar(say("drop.looking"));
    try {
      show(await post(job(id, "/import"), { names, ...options }));
    } catch (error) {
      fill(place, notice("bad", el("p", {}, error.message)), choices());
    }
  }

  const bar = (text) => fill(place, el("p", {}, text), el("progress", { "aria-label": text }));

  function choices() {
    const condition = unique("condition");
    const seats = unique("seats");
    const pick = el("select", { id: condition }, el("option", { value: "" }, say("drop.by_name")), CONDITIONS.map((c) => el("option", { value: c, selected: options.conditions[0] === c && options.conditions.length === 1 }, say(`condition.${c}`))), el("option", { value: "without,with", selected: options.conditions.length === 2 }, say("drop.both")));
    const order = el("input", { id: seats, value: options.seats.join(", "), spellcheck: "false" });
    return el("div", { class: "two" },
      el("div", { class: "field" }, el("label", { for: condition }, say("drop.condition")), pick),
      el("div", { class: "field" }, el("label", { for: seats }, say("drop.seats")), order),
      el("p", { class: "keys" }, button(say("drop.look_again"), () => {
        options.conditions = pick.value ? pick.value.split(",") : [];
        options.seats = order.value.split(/[\s,;]+/).filter(Boolean);
        return look();
      })));
  }

  function show(found) {
    const rows = found.sweeps.map((s) =>
      el("tr", {},
        el("th", { scope: "row" }, found.recordings[s.recording]?.file ?? ""),
        el("td", {}, `${number(s.start_s, 1)} s`),
        el("td", { class: "word" }, s.place ? `${s.place.seat}, ${say(`condition.${s.place.condition}`)}, ${say("board.spot", { n: s.place.spot })}` : "–"),
        el("td", { class: "word" }, s.judgement),
        el("td", { class: "word" }, say(`fate.${s.fate}`), s.reason ? `: ${s.reason}` : "")));
    const n = found.sweeps.filter((s) => s.fate === "take").length;
    const heads = ["recording", "at", "place", "judged", "fate"].map((k) => el("th", { scope: "col" }, say(`drop.${k}`)));
    fill(
      place,
      found.refusal ? notice("bad", el("p", {}, found.refusal)) : null,
      found.order_doubt ? notice("doubt", el("p", {}, found.order_doubt)) : null,
      found.notes.map((note) => el("p", { class: "small" }, note)),
      el("div", { class: "scroll", tabindex: 0, role: "group", "aria-label": say("drop.table") }, el("table", {}, el("thead", {}, el("tr", {}, heads)), el("tbody", {}, rows))),
      choices(),
      found.refusal || n === 0 ? null : el("p", { class: "keys" }, button(say("drop.file", { n }), file, { class: "key" }), button(say("drop.leave"), () => fill(place))),
    );
    announce(say("drop.found", { n }));
  }

  async function file() {
    bar(say("drop.filing"));
    try {
      const written = await post(job(id, "/import"), { names, ...options, yes: true });
      fill(place, notice("good", el("p", {}, say("drop.filed", { n: written.written.length }))));
      await done();
    } catch (error) {
      fill(place, notice("bad", el("p", {}, error.message)), choices());
    }
  }

  const input = el("input", { type: "file", id: box, multiple: true, accept: ".wav,.w64,.aif,.aiff,.aifc,.caf,.flac,.bwf,.rf64,.wave", onchange: () => take([...input.files]) });
  for (const type of ["dragover", "drop"]) {
    window.addEventListener(type, (event) => {
      event.preventDefault();
      zone.classList.toggle("over", type === "dragover");
      if (type === "drop" && event.dataTransfer.files.length) take([...event.dataTransfer.files]);
    });
  }
  window.addEventListener("dragleave", () => zone.classList.remove("over"));
  return fill(zone, el("h2", { id: `${box}-head` }, say("drop.heading")), el("p", { class: "hint" }, say("drop.hint")), el("div", { class: "field" }, el("label", { for: box }, say("drop.choose")), input), place);
}
