// Before buying: sheets described by what their makers print.
import { post } from "./ask.js";
import { button, download, el, fill, notice, unique } from "./dom.js";
import { read } from "./fields.js";
import { say } from "./words.js";

const KEYS = [
  ["hole_diameter_mm", "mm"], ["hole_pitch_mm", "mm"], ["thickness_mm", "mm"], ["open_area_percent", "%"],
  ["areal_mass_g_m2", "g/m²"], ["flow_resistance_pa_s_m", "Pa s/m"], ["backing_areal_mass_g_m2", "g/m²"], ["backing_flow_resistance_pa_s_m", "Pa s/m"], ["backing_air_mm", "mm"],
];
const FOR = { woven: ["areal_mass_g_m2", "flow_resistance_pa_s_m"], perforated: ["hole_diameter_mm", "hole_pitch_mm", "thickness_mm", "open_area_percent", "areal_mass_g_m2"], film: ["thickness_mm", "areal_mass_g_m2"] };

export async function draw(place) {
  const sheets = [];
  const list = el("div", { class: "claims" });
  const out = el("div", { role: "status" });
  const input = (label, unit, value = "") => {
    const id = unique("p");
    const field = el("input", { id, inputmode: unit ? "decimal" : null, value, autocomplete: "off", "aria-describedby": `${id}-wrong` });
    const wrong = el("p", { class: "wrong", id: `${id}-wrong` });
    const node = el("div", { class: "field" }, el("label", { for: id }, label), el("span", { class: "entry" }, field, unit ? el("span", { class: "unit" }, unit) : null), wrong);
    return { node, field, wrong };
  };

  function add(kind = "woven") {
    const sheet = { inputs: {}, name: input(say("predict.name"), null) };
    const id = unique("kind");
    const select = el("select", { id }, Object.keys(FOR).map((k) => el("option", { value: k, selected: k === kind }, say(`predict.${k}`))));
    const figures = el("div", { class: "two" });
    const backing = el("div", { class: "two" });
    const wrong = el("p", { class: "wrong", role: "alert" });
    for (const [key, unit] of KEYS) sheet.inputs[key] = input(say(`predict.${key}`), unit);
    const layout = () => {
      fill(figures, FOR[select.value].map((key) => sheet.inputs[key].node));
      fill(backing, KEYS.filter(([key]) => key.startsWith("backing")).map(([key]) => sheet.inputs[key].node));
    };
    select.addEventListener("change", layout);
    layout();
    sheet.wrong = wrong;
    sheet.read = () => {
      const used = [...FOR[select.value], ...KEYS.map(([k]) => k).filter((k) => k.startsWith("backing"))];
      const values = { construction: select.value };
      for (const key of used) values[key] = sheet.inputs[key].field.value;
      return { name: sheet.name.field.value, values };
    };
    sheet.node = el("fieldset", {}, el("legend", {}, say("predict.sheet_n", { n: sheets.length + 1 })), sheet.name.node, el("div", { class: "field" }, el("label", { for: id }, say("predict.kind")), select), figures, el("details", {}, el("summary", {}, say("predict.backing")), backing), wrong);
    sheets.push(sheet);
    list.append(sheet.node);
  }

  const gap = input(say("predict.gap"), "m", "0.065");
  const angles = input(say("predict.angles"), "°", "0");
  const width = input(say("predict.width"), "m");
  const seats = input(say("predict.seats"), "m");

  async function go(event) {
    event.preventDefault();
    list.querySelectorAll(".wrong").forEach((p) => (p.textContent = ""));
    fill(out, el("p", {}, say("predict.working")));
    const numbers = (text) => text.split(/[\s;]+/).filter(Boolean).map(read);
    const ask = { sheets: sheets.map((s) => s.read()), gap_m: read(gap.field.value), angles_deg: numbers(angles.field.value), width_m: read(width.field.value), seats_m: numbers(seats.field.value).map((m) => [m, 0]) };
    const none = [gap, width].find((i) => Number.isNaN(read(i.field.value))) ?? [angles, seats].find((i) => numbers(i.field.value).some(Number.isNaN));
    if (none) {
      none.wrong.textContent = say("field.wrong_number");
      none.field.focus();
      return fill(out);
    }
    try {
      papers(out, await post("/api/predict", ask), "forecast.html");
    } catch (error) {
      const [, i, key] = /^sheet\[(\d+)\](?:\.(\w+))?$/.exec(error.field ?? "") ?? [];
      const sheet = sheets[i];
      const at = sheet ? (sheet.inputs[key]?.wrong ?? sheet.wrong) : null;
      if (at) {
        at.textContent = error.message;
        fill(out);
        (sheet.inputs[key]?.field ?? sheet.name.field).focus();
      } else fill(out, notice("bad", el("p", {}, error.message)));
    }
  }

  add();
  fill(
    place,
    el("h1", {}, say("predict.heading")),
    el("p", {}, say("predict.hint")),
    el("form", { onsubmit: go, novalidate: true },
      list,
      el("p", {}, button(say("predict.add"), () => add())),
      el("fieldset", {}, el("legend", {}, say("predict.place")), el("div", { class: "two" }, gap.node, angles.node, width.node, seats.node)),
      el("p", {}, el("button", { class: "key" }, say("predict.go")))),
    out,
  );
  return say("predict.heading");
}

// Papers that answer a question: what they say, the page, files to save.
export function papers(out, made, page) {
  const address = (name) => `${made.address}/${encodeURIComponent(name)}`;
  fill(
    out,
    el("ul", {}, made.statements.map((s) => el("li", {}, s))),
    el("ul", { class: "files" }, made.files.map((name) => el("li", {}, download(address(name), name)))),
    el("iframe", { class: "paper", src: address(page), title: say("result.paper"), sandbox: "allow-scripts" }),
  );
}
