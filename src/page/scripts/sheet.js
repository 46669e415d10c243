// What hangs, and what its maker claims.
import { field, group } from "./fields.js";
import { Manifest } from "./manifest.js";
import { claims } from "./claims.js";
import { el, fill } from "./dom.js";
import { say } from "./words.js";

export async function draw(place, id) {
  const manifest = await Manifest.open(id);
  const f = (key, options) => field(manifest, { path: ["screen", key], label: `sheet.${key}`, ...options });
  const n = (key, unit, options) => f(key, { kind: "number", unit, ...options });
  const kinds = ["woven", "perforated", "other"].map((k) => [k, say(`sheet.kind_${k}`)]);
  fill(
    place,
    el("h1", {}, say("sheet.heading")),
    manifest.place,
    el("form", { onsubmit: (e) => e.preventDefault() },
      group(say("sheet.hangs"),
        f("name", {}),
        f("construction", { choices: kinds }),
        n("gap_m", "m", { hint: "sheet.gap_hint" }),
        el("div", { class: "two" }, n("width_m", "m"), n("height_m", "m")),
        f("backing", { kind: "bool" })),
      claims(manifest),
      el("details", {},
        el("summary", {}, say("sheet.theory")),
        el("p", { class: "hint" }, say("sheet.theory_hint")),
        el("div", { class: "two" },
          n("hole_diameter_mm", "mm"), n("hole_pitch_mm", "mm"), n("thickness_mm", "mm"), n("open_area_percent", "%"),
          n("areal_mass_g_m2", "g/m²"), n("flow_resistance_pa_s_m", "Pa s/m"), n("weave_pitch_mm", "mm"))),
    ),
  );
  manifest.watch();
  return say("sheet.heading");
}
