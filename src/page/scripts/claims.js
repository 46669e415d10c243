// Claims as makers print them: the kind in words, its figures, and the sentence on the paper.
import { button, el, fill, unique } from "./dom.js";
import { field, group } from "./fields.js";
import { say } from "./words.js";

// Figures of each kind, with a first value; the last ones may be left out.
const KINDS = {
  maximum_loss: { band_hz: [500, 16000], limit_db: 3 },
  average_loss: { band_hz: [500, 16000], limit_db: 1.5 },
  loss_at: { at_hz: 10000, limit_db: 2 },
  relative_loss: { at_hz: 8000, reference_hz: 500, limit_db: 6 },
  loss_curve: { points: [{ hz: 1000, loss_db: 0.5 }, { hz: 10000, loss_db: 2 }], tolerance_db: 1 },
  seat_spread: { limit_db: 1 },
  gain_on_axis: { minimum: 0.9 },
  gain_at_angle: { angle_deg: 45, minimum: 0.5 },
  gain_off_axis_ratio: { angle_deg: 45, minimum: 0.5 },
  uniformity: { minimum: 0.8 },
};
const MAY = { maximum_loss: ["tolerance_db"], average_loss: ["tolerance_db"], loss_at: ["tolerance_db"], relative_loss: ["tolerance_db"], loss_curve: ["band_hz"], seat_spread: ["band_hz"], gain_on_axis: ["maximum"], gain_at_angle: ["maximum"], gain_off_axis_ratio: ["maximum"], uniformity: ["maximum"] };
const FIGURES = {
  band_hz: ["pair", "Hz"], limit_db: ["number", "dB"], at_hz: ["number", "Hz"], reference_hz: ["number", "Hz"],
  tolerance_db: ["number", "dB"], minimum: ["number", null], maximum: ["number", null], angle_deg: ["number", "°"],
};

export function claims(manifest) {
  const list = el("div", { class: "claims" });
  const wrong = el("p", { class: "wrong", role: "alert" });
  const all = () => manifest.values?.claim ?? [];
  const save = (changes) => manifest.save(changes).then(() => ((wrong.textContent = ""), redraw()), (error) => (wrong.textContent = error.message));

  function kindOf(claim, i) {
    const id = unique("kind");
    const select = el("select", { id }, Object.keys(KINDS).map((kind) => el("option", { value: kind, selected: kind === claim.quantity }, say(`claim.${kind}`))));
    select.addEventListener("change", () => {
      const figures = KINDS[select.value];
      const keep = [...Object.keys(figures), ...MAY[select.value], "quantity", "scope", "source"];
      const gone = Object.keys(claim).filter((key) => !keep.includes(key)).map((key) => ({ path: ["claim", i, key], value: null }));
      const come = Object.entries(figures).filter(([key]) => claim[key] === undefined).map(([key, value]) => ({ path: ["claim", i, key], value }));
      save([{ path: ["claim", i, "quantity"], value: select.value }, ...gone, ...come]);
    });
    return el("div", { class: "field broad" }, el("label", { for: id }, say("claim.kind")), select);
  }

  function curve(claim, i) {
    const part = { values: manifest.values, at: () => (claim.points ?? []).map((p) => `${p.hz} Hz  ${p.loss_db} dB`) };
    const points = (lines) => (lines ?? []).map((line) => line.match(/-?[\d.]+/g)?.map(Number) ?? []).map(([hz, loss_db]) => ({ hz: hz ?? 0, loss_db: loss_db ?? 0 }));
    const changes = ([change]) => [{ path: ["claim", i, "points"], value: points(change.value) }];
    part.check = (c) => manifest.check(changes(c));
    part.save = (c) => manifest.save(changes(c));
    return field(part, { path: ["points"], kind: "lines", label: "claim.points", hint: "claim.points_hint" });
  }

  function row(claim, i) {
    const figures = [...Object.keys(KINDS[claim.quantity] ?? {}), ...(MAY[claim.quantity] ?? [])];
    const scopes = ["every_seat"].map((s) => [s, say(`claim.scope_${s}`)]);
    const light = claim.quantity?.startsWith("gain") || claim.quantity === "uniformity";
    return el(
      "div",
      { class: "claim", role: "group", "aria-label": say("claim.one", { n: i + 1 }) },
      kindOf(claim, i),
      figures.map((key) => (key === "points" ? curve(claim, i) : field(manifest, { path: ["claim", i, key], kind: FIGURES[key][0], unit: FIGURES[key][1], label: `claim.${key}` }))),
      light ? null : field(manifest, { path: ["claim", i, "scope"], choices: scopes, blank: "claim.scope_mean", label: "claim.scope" }),
      field(manifest, { path: ["claim", i, "source"], label: "claim.source" }),
      el("p", { class: "sentence", "data-claim": i }, manifest.claims[i] ?? ""),
      button(say("claim.remove"), () => save([{ path: ["claim", i], value: null }]), { "aria-label": say("claim.remove_one", { n: i + 1 }) }),
    );
  }

  function redraw() {
    fill(list, all().length ? all().map(row) : el("p", {}, say("claim.none")));
  }
  manifest.listeners.push(() => list.querySelectorAll("[data-claim]").forEach((p) => (p.textContent = manifest.claims[p.dataset.claim] ?? "")));
  redraw();
  const add = () => save([{ path: ["claim", all().length], value: { quantity: "maximum_loss", ...KINDS.maximum_loss } }]);
  return group(say("claim.heading"), el("p", { class: "hint" }, say("claim.hint")), list, wrong, el("p", {}, button(say("claim.add"), add)));
}
