// The known sheets, ranked for the next room.
import { get, post } from "./ask.js";
import { el, fill, notice, unique } from "./dom.js";
import { read } from "./fields.js";
import { papers } from "./predict.js";
import { say } from "./words.js";

const FIGURES = [
  ["gap_m", "m"], ["width_m", "m"], ["height_m", "m"], ["projector_lm", "lm"],
  ["power_w", "W"], ["amplifier_w", "W"], ["driver_limit_w", "W"],
];

function input(label, unit, hint) {
  const id = unique("c");
  const field = el("input", { id, inputmode: unit ? "decimal" : null, autocomplete: "off", "aria-describedby": `${id}-hint ${id}-wrong` });
  const wrong = el("p", { class: "wrong", id: `${id}-wrong` });
  const node = el("div", { class: "field" }, el("label", { for: id }, label), el("span", { class: "entry" }, field, unit ? el("span", { class: "unit" }, unit) : null), el("p", { class: "hint", id: `${id}-hint` }, hint ?? ""), wrong);
  return { node, field, wrong };
}

// "3.2; 4.4 0.8": seats by semicolons, each with metres from the sheet and beside its axis.
function seats(text) {
  const parts = text.split(";").map((p) => p.trim()).filter(Boolean);
  return parts.map((p) => {
    const [distance, beside = 0] = p.split(/\s+/).map(read);
    return [distance, beside];
  });
}

export async function draw(place) {
  const list = await get("/api/jobs");
  const out = el("div", { role: "status" });
  const jobId = unique("job");
  const job = el("select", { id: jobId }, el("option", { value: "" }, say("choose.typed")), list.jobs.filter((j) => !j.problem).map((j) => el("option", { value: j.id }, j.title)));
  const figures = Object.fromEntries(FIGURES.map(([key, unit]) => [key, input(say(`choose.${key}`), unit)]));
  const place_of = input(say("choose.seats"), "m", say("choose.seats_hint"));
  const more = unique("more");
  const sheets = el("textarea", { id: more, rows: 3, "aria-describedby": `${more}-hint`, autocomplete: "off" });

  async function go(event) {
    event.preventDefault();
    const all = [...Object.values(figures), place_of];
    all.forEach((f) => (f.wrong.textContent = ""));
    const ask = { job: job.value || null, seats_m: seats(place_of.field.value), sheets: sheets.value.split("\n").map((l) => l.trim()).filter(Boolean) };
    for (const [key, f] of Object.entries(figures)) ask[key] = read(f.field.value);
    const bad = Object.entries(figures).find(([key]) => Number.isNaN(ask[key]))?.[1] ?? (ask.seats_m.flat().some((v) => !Number.isFinite(v)) ? place_of : null);
    if (bad) {
      bad.wrong.textContent = say("field.wrong_number");
      return bad.field.focus();
    }
    fill(out, el("p", {}, say("sheets.working")), el("progress", { "aria-label": say("sheets.working") }));
    try {
      papers(out, await post("/api/choose", ask), "choice.html");
    } catch (error) {
      fill(out, notice("bad", el("p", {}, error.message)));
    }
  }

  fill(
    place,
    el("h1", {}, say("choose.heading")),
    el("p", {}, say("choose.hint")),
    el("form", { onsubmit: go, novalidate: true },
      el("fieldset", {}, el("legend", {}, say("choose.room")),
        el("div", { class: "field" }, el("label", { for: jobId }, say("choose.job")), job),
        el("div", { class: "two" }, Object.values(figures).map((f) => f.node), place_of.node)),
      el("details", {}, el("summary", {}, say("choose.more")), el("div", { class: "field" }, el("label", { for: more }, say("choose.described")), sheets, el("p", { class: "hint", id: `${more}-hint` }, say("choose.described_hint")))),
      el("p", {}, el("button", { class: "key" }, say("choose.go")))),
    out,
  );
  return say("choose.heading");
}
