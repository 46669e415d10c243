// What each sheet did over all jobs: on the first screen, and as papers.
import { get, post } from "./ask.js";
import { button, el, fill, notice, unique } from "./dom.js";
import { papers } from "./predict.js";
import { number, say } from "./words.js";

const withU = (value, u) => (value === null ? "–" : u === null ? number(value, 2) : `${number(value, 2)} ± ${number(u, 2)}`);

function row(sheet) {
  const cells = [
    sheet.n_rooms,
    withU(sheet.mean_loss_db, sheet.u95_db),
    withU(sheet.between_db, null),
    sheet.n_claims ? say("sheets.kept", { kept: sheet.kept, n: sheet.n_claims }) : "–",
    sheet.bias_db === null ? "–" : withU(sheet.bias_db, sheet.bias_u95_db),
  ];
  return el("tr", {}, el("th", { scope: "row" }, sheet.name, sheet.too_good ? el("span", { class: "doubt small" }, ` ${say("sheets.too_good")}`) : null), cells.map((c) => el("td", {}, `${c}`)));
}

// Pairs of names that are alike: one answer each.
function questions(pairs) {
  const answers = pairs.map(([a, b]) => {
    const id = unique("same");
    const box = el("input", { type: "checkbox", id });
    return { pair: [a, b], box, node: el("p", { class: "tick" }, box, el("label", { for: id }, say("sheets.same", { a, b }))) };
  });
  return { node: answers.length ? el("fieldset", {}, el("legend", {}, say("sheets.alike")), answers.map((a) => a.node)) : null, same: () => answers.filter((a) => a.box.checked).map((a) => a.pair) };
}

export async function overview(place) {
  const seen = await get("/api/sheets");
  if (!seen.sheets.length && !seen.n_stale) return;
  const out = el("div", { role: "status" });
  const asked = questions(seen.alike);
  const id = unique("names");
  const names = el("input", { type: "checkbox", id });
  const go = async () => {
    fill(out, el("p", {}, say("sheets.working")), el("progress", { "aria-label": say("sheets.working") }));
    try {
      papers(out, await post("/api/sheets", { same: asked.same(), with_names: names.checked }), "sheets.html");
    } catch (error) {
      fill(out, notice("bad", el("p", {}, error.message)));
    }
  };
  const head = ["sheets.sheet", "sheets.rooms", "sheets.loss", "sheets.between", "sheets.claims", "sheets.bias"].map((key) => el("th", { scope: "col" }, say(key)));
  const table = el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("sheets.heading") }, el("table", { class: "sheets" }, el("caption", {}, say("sheets.caption")), el("thead", {}, el("tr", {}, head)), el("tbody", {}, seen.sheets.map(row))));
  fill(
    place,
    el("h2", {}, say("sheets.heading")),
    seen.sheets.length ? table : null,
    seen.n_stale ? el("p", {}, say("sheets.stale", { n: seen.n_stale })) : null,
    asked.node,
    el("p", { class: "tick" }, names, el("label", { for: id }, say("sheets.with_names"))),
    el("p", {}, button(say(seen.n_stale ? "sheets.analyse" : "sheets.papers"), go, { class: "key" })),
    out,
  );
}
