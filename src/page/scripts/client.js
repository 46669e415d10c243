// For whom, where, by whom: what stands on the papers.
import { field, group } from "./fields.js";
import { Manifest } from "./manifest.js";
import { el, fill } from "./dom.js";
import { say } from "./words.js";

export async function draw(place, id) {
  const manifest = await Manifest.open(id);
  const f = (key, options = {}) => field(manifest, { path: ["handover", key], label: `client.${key}`, ...options });
  const units = ["imperial"].map((u) => [u, say(`client.units_${u}`)]);
  fill(
    place,
    el("h1", {}, say("client.heading")),
    manifest.place,
    el("form", { onsubmit: (e) => e.preventDefault() },
      group(say("client.names"), f("client"), f("site"), f("installer"), f("reference"), f("date", { kind: "date", hint: "client.date_hint" })),
      group(say("client.paper"),
        f("units", { choices: units, blank: "client.units_metric" }),
        f("logo", { hint: "client.logo_hint" }),
        f("instruments", { kind: "lines", hint: "client.lines_hint" }),
        f("not_measured", { kind: "lines", hint: "client.lines_hint" }),
        f("signatures", { kind: "lines", hint: "client.lines_hint" })),
    ),
  );
  manifest.watch();
  return say("client.heading");
}
