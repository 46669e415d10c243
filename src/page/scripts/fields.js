// Fields of forms: each says its unit, checks while one types, saves when one leaves it.
import { el, unique } from "./dom.js";
import { say } from "./words.js";

// Reads a number as people write it; NaN where it is none, null where nothing stands there.
export function read(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  if (plain === "") return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(plain) ? Number(plain) : NaN;
}

const KINDS = {
  text: { show: (v) => v ?? "", read: (t) => (t.trim() === "" ? null : t.trim()) },
  date: { show: (v) => v ?? "", read: (t) => (t === "" ? null : t), type: "date" },
  number: { show: (v) => (v ?? "").toString(), read, mode: "decimal" },
  pair: { show: (v) => (v ?? []).join(" – "), read: pair },
  lines: { show: (v) => (v ?? []).join("\n"), read: (t) => orNull(t.split("\n").map((l) => l.trim()).filter(Boolean)) },
};

const orNull = (values) => (values.length ? values : null);

function pair(text) {
  if (text.trim() === "") return null;
  const values = text.split(/\s*(?:[;–]|\bto\b|\s-\s)\s*|\s+/).filter(Boolean).map(read);
  return values.length === 2 && values.every((v) => Number.isFinite(v)) ? values : NaN;
}

// One field of the manifest. `path` is where it stands; `label` and `hint` are keys of words.
export function field(manifest, { path, kind = "text", label, hint, unit, choices, blank, placeholder }) {
  const id = unique("field");
  const wrong = el("p", { class: "wrong", id: `${id}-wrong` });
  const about = [hint ? `${id}-hint` : null, unit ? `${id}-unit` : null, `${id}-wrong`].filter(Boolean).join(" ");
  const attributes = { id, "aria-describedby": about, autocomplete: "off", placeholder, disabled: !manifest.values };
  const value = manifest.at(path);
  if (kind === "bool") return tick(manifest, { path, label, hint, id, wrong, about });
  let input;
  if (choices) {
    input = el("select", attributes, el("option", { value: "" }, say(blank ?? "field.not_said")), choices.map(([v, text]) => el("option", { value: v, selected: v === value }, text)));
  } else if (kind === "lines") {
    input = el("textarea", { ...attributes, rows: 3 });
  } else {
    input = el("input", { ...attributes, type: KINDS[kind].type ?? "text", inputmode: KINDS[kind].mode });
  }
  if (!choices) input.value = KINDS[kind].show(value);
  const now = () => (choices ? input.value || null : KINDS[kind].read(input.value));
  const tell = (text) => {
    wrong.textContent = text ?? "";
    text ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid");
  };
  let pause;
  let seen = JSON.stringify(value ?? null);
  const changes = () => [{ path, value: now() }];
  const isNone = (v) => typeof v === "number" && Number.isNaN(v);
  input.addEventListener("input", () => {
    clearTimeout(pause);
    if (isNone(now())) return tell(say(`field.wrong_${kind}`));
    pause = setTimeout(() => manifest.check(changes()).then(() => tell(), (error) => error.status === 422 && tell(error.message)), 350);
  });
  input.addEventListener("change", () => {
    clearTimeout(pause);
    if (isNone(now())) return tell(say(`field.wrong_${kind}`));
    if (JSON.stringify(now()) === seen) return tell();
    const saving = JSON.stringify(now());
    manifest.save(changes()).then(
      () => ((seen = saving), tell()),
      (error) => tell(error.message),
    );
  });
  return el(
    "div",
    { class: `field ${kind}` },
    el("label", { for: id }, say(label)),
    el("span", { class: "entry" }, input, unit ? el("span", { class: "unit", id: `${id}-unit` }, unit) : null),
    hint ? el("p", { class: "hint", id: `${id}-hint` }, say(hint)) : null,
    wrong,
  );
}

function tick(manifest, { path, label, hint, id, wrong, about }) {
  const input = el("input", { type: "checkbox", id, checked: manifest.at(path) === true, "aria-describedby": about, disabled: !manifest.values });
  input.addEventListener("change", () =>
    manifest.save([{ path, value: input.checked }]).catch((error) => {
      input.checked = !input.checked;
      wrong.textContent = error.message;
    }),
  );
  return el("div", { class: "field tick" }, input, el("label", { for: id }, say(label)), hint ? el("p", { class: "hint", id: `${id}-hint` }, say(hint)) : null, wrong);
}

export const group = (title, ...fields) => el("fieldset", {}, el("legend", {}, title), ...fields);
