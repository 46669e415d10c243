// A new job: title, seats, spots.
import { post } from "./ask.js";
import { button, el, fill, unique } from "./dom.js";
import { say } from "./words.js";

// A folder's name from a title: plain letters and digits, which every system takes.
const plain = (title) =>
  title.normalize("NFKD").replace(/[^\w\s-]/g, "").trim().replace(/\s+/g, "-").toLowerCase().slice(0, 60);

const names = (text) => text.split(/[\s,;]+/).filter(Boolean);

function rowOf(row, n) {
  if (n === 1) return [`R${row}C`];
  if (n === 2) return [`R${row}L`, `R${row}R`];
  if (n === 3) return [`R${row}L`, `R${row}C`, `R${row}R`];
  return Array.from({ length: n }, (_, i) => `R${row}S${i + 1}`);
}

export async function draw(place) {
  const errors = {};
  const field = (name, label, hint, input) => {
    const id = unique(name);
    input.id = id;
    const told = el("p", { class: "wrong", id: `${id}-wrong` });
    const help = el("p", { class: "hint", id: `${id}-hint` }, hint);
    input.setAttribute("aria-describedby", `${id}-hint ${id}-wrong`);
    errors[name] = [input, told];
    return el("div", { class: "field" }, el("label", { for: id }, label), input, help, told);
  };
  const title = el("input", { required: true, autocomplete: "off", maxlength: 200 });
  const folder = el("input", { required: true, autocomplete: "off", maxlength: 120, spellcheck: "false" });
  const seats = el("input", { required: true, autocomplete: "off", spellcheck: "false" });
  const spots = el("select", {}, [1, 2, 3, 4, 5, 6].map((n) => el("option", { value: n, selected: n === 2 }, String(n))));
  let ownName = false;
  title.addEventListener("input", () => ownName || (folder.value = plain(title.value)));
  folder.addEventListener("input", () => (ownName = folder.value !== ""));
  const quick = el("div", { class: "keys", role: "group", "aria-label": say("new.rows") });
  for (const n of [1, 2, 3, 4, 5]) {
    quick.append(
      button(say("new.row_of", { n }), () => {
        const have = names(seats.value);
        const rows = new Set(have.map((s) => /^R(\d+)/.exec(s)?.[1]).filter(Boolean));
        seats.value = [...have, ...rowOf(rows.size + 1, n)].join(", ");
      }),
    );
  }
  quick.append(button(say("new.clear"), () => ((seats.value = ""), seats.focus())));
  const said = el("p", { class: "wrong", role: "alert" });
  const form = el(
    "form",
    {
      novalidate: true,
      onsubmit: async (event) => {
        event.preventDefault();
        for (const [input, told] of Object.values(errors)) (told.textContent = ""), input.removeAttribute("aria-invalid");
        said.textContent = "";
        try {
          const made = await post("/api/jobs", { title: title.value.trim(), folder: folder.value.trim(), seats: names(seats.value), spots: Number(spots.value) });
          location.href = `/job/${encodeURIComponent(made.id)}/room`;
        } catch (error) {
          const [input, told] = errors[error.field] ?? [null, said];
          told.textContent = error.message;
          input?.setAttribute("aria-invalid", "true");
          input?.focus();
        }
      },
    },
    field("title", say("new.title_label"), say("new.title_hint"), title),
    field("folder", say("new.folder_label"), say("new.folder_hint"), folder),
    field("seats", say("new.seats_label"), say("new.seats_hint"), seats),
    quick,
    field("spots", say("new.spots_label"), say("new.spots_hint"), spots),
    el("p", {}, el("button", { class: "key" }, say("new.make"))),
    said,
  );
  fill(place, el("h1", {}, say("new.heading")), form);
  title.focus();
  return say("new.heading");
}
