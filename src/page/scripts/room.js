// Title and date, the room, the seats.
import { field, group } from "./fields.js";
import { Manifest } from "./manifest.js";
import { el, fill } from "./dom.js";
import { say } from "./words.js";
import { seats } from "./seats.js";

function weather(manifest, key, label, unit) {
  // One number, or one for each condition; the form writes one for each.
  const value = manifest.at(["session", key]);
  const each = typeof value === "object" ? value : { without: value, with: value };
  const part = { values: manifest.values ? { [key]: each ?? {} } : null, at: (p) => each?.[p[1]] };
  const join = (changes) => {
    for (const change of changes) each[change.path[1]] = change.value;
    const whole = Object.values(each).filter((v) => v !== null && v !== undefined);
    // Half a pair says nothing yet.
    if (whole.length === 1) return null;
    return [{ path: ["session", key], value: whole.length ? Object.fromEntries(Object.entries(each).filter(([, v]) => v !== null && v !== undefined)) : null }];
  };
  part.check = async (changes) => {
    const joined = join(changes);
    return joined && manifest.check(joined);
  };
  part.save = async (changes) => {
    const joined = join(changes);
    return joined && manifest.save(joined);
  };
  return [
    field(part, { path: [key, "without"], kind: "number", label: `room.${label}_without`, unit }),
    field(part, { path: [key, "with"], kind: "number", label: `room.${label}_with`, unit }),
  ];
}

export async function draw(place, id) {
  const manifest = await Manifest.open(id);
  const f = (options) => field(manifest, options);
  fill(
    place,
    el("h1", {}, say("room.heading")),
    manifest.place,
    el("form", { onsubmit: (e) => e.preventDefault() },
      group(say("room.job"),
        f({ path: ["session", "title"], label: "room.title" }),
        f({ path: ["session", "date"], kind: "date", label: "room.date" })),
      seats(manifest),
      group(say("room.how"),
        f({ path: ["session", "placement_tolerance_mm"], kind: "number", label: "room.tolerance", hint: "room.tolerance_hint", unit: "mm" }),
        f({ path: ["session", "gain_untouched"], kind: "bool", label: "room.gain", hint: "room.gain_hint" }),
        el("div", { class: "two" }, weather(manifest, "temperature_c", "temperature", "°C")),
        el("div", { class: "two" }, weather(manifest, "humidity_percent", "humidity", "%"))),
    ),
  );
  manifest.watch();
  return say("room.heading");
}
