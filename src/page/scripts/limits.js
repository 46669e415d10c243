// Loudspeaker, amplifier, and what the processor can do.
import { field, group } from "./fields.js";
import { Manifest } from "./manifest.js";
import { el, fill } from "./dom.js";
import { say } from "./words.js";

export async function draw(place, id) {
  const manifest = await Manifest.open(id);
  const f = (table) => (key, kind, unit, options) => field(manifest, { path: [table, key], kind, unit, label: `${table}.${key}`, ...options });
  const [speaker, correction, picture] = [f("speaker"), f("correction"), f("picture")];
  const steps = ["iso_1_3", "iso_1_6", "iso_1_24", "free"].map((s) => [s, say(`correction.${s}`)]);
  fill(
    place,
    el("h1", {}, say("limits.heading")),
    manifest.place,
    el("form", { onsubmit: (e) => e.preventDefault() },
      group(say("limits.speaker"),
        el("p", { class: "hint" }, say("limits.speaker_hint")),
        el("div", { class: "two" },
          speaker("height_m", "number", "m"), speaker("power_w", "number", "W"), speaker("amplifier_w", "number", "W"),
          speaker("driver_limit_w", "number", "W"), speaker("driver_band_hz", "pair", "Hz"), speaker("sensitivity_db", "number", "dB"))),
      group(say("limits.correction"),
        el("p", { class: "hint" }, say("limits.correction_hint")),
        el("div", { class: "two" },
          correction("band_hz", "pair", "Hz", { placeholder: "500 – 16000" }), correction("max_filters", "number", null, { placeholder: "3" }),
          correction("max_boost_db", "number", "dB", { placeholder: "6" }), correction("max_cut_db", "number", "dB", { placeholder: "6" }),
          correction("q", "pair", null, { placeholder: "0.3 – 4" }), correction("gain_step_db", "number", "dB", { placeholder: "0.5" }),
          correction("frequency_step", "text", null, { choices: steps, blank: "correction.iso_1_12" }), correction("processor_rate_hz", "number", "Hz", { placeholder: "48000" }))),
      group(say("limits.picture"),
        el("p", { class: "hint" }, say("limits.picture_hint")),
        el("div", { class: "two" },
          picture("projector_lm", "number", "lm"), picture("reference_gain", "number", null, { placeholder: "1" }),
          picture("aspect", "number", null, { placeholder: "1.78" }), picture("masked_aspect", "number", null, { placeholder: "2.39" }),
          picture("pixels_across", "number", null, { placeholder: "3840" }))),
    ),
  );
  manifest.watch();
  return say("limits.heading");
}
