// The result: what it says first, the paper, the files to save.
import { get, job } from "./ask.js";
import { announce, button, download, el, fill, notice } from "./dom.js";
import { number, say } from "./words.js";

const FIRST = ["summary.pdf", "summary.png", "handover.pdf", "report.html", "correction.csv", "bands.csv", "result.json"];

// Shapes beside the words, which no colour carries alone.
const MARKS = { pass: "\u2713", fail: "\u2717" };

const size = (bytes) => (bytes > 1e6 ? `${number(bytes / 1e6, 1)} MB` : `${Math.max(1, Math.round(bytes / 1e3))} kB`);

export async function draw(place, id) {
  const body = el("div");
  const status = el("div", { role: "status" });
  fill(place, el("h1", {}, say("result.heading")), status, body);
  const address = (name) => job(id, `/report/${name.split("/").map(encodeURIComponent).join("/")}`);
  let working = false;
  let again = false;
  let shown = null;

  function show(result) {
    if (result.inputs === shown) return;
    shown = result.inputs;
    const known = FIRST.filter((name) => result.files.some((f) => f.name === name));
    const rest = result.files.filter((f) => !known.includes(f.name));
    const item = (name) => {
      const file = result.files.find((f) => f.name === name);
      const key = `file.${name}`;
      return el("li", {}, download(address(name), name.split("/").pop(), FIRST.includes(name) ? say(key) : name), el("span", { class: "small" }, ` ${name}, ${size(file.bytes)}`));
    };
    fill(
      body,
      el("div", { class: "verdicts" },
        el("h2", {}, say("result.says")),
        known.includes("summary.png") ? el("img", { class: "summary", src: `${address("summary.png")}?${shown}`, alt: say("result.summary_alt") }) : null,
        result.findings.map((text) => el("p", { class: "finding" }, text)),
        result.claims.length ? el("ul", { class: "claims-list" }, result.claims.map((c) => el("li", { class: c.kind }, el("strong", { "aria-hidden": "true" }, MARKS[c.kind] ?? "?"), " ", c.sentence))) : el("p", { class: "small" }, say("result.no_claims")),
        result.setting ? el("p", {}, result.setting) : null,
        result.doubts.length ? el("details", {}, el("summary", {}, say("result.doubts", { n: result.doubts.length })), el("ul", {}, result.doubts.map((d) => el("li", {}, d)))) : null),
      el("h2", {}, say("result.papers")),
      el("ul", { class: "files" }, known.map(item)),
      rest.length ? el("details", {}, el("summary", {}, say("result.more_files", { n: rest.length })), el("ul", { class: "files" }, rest.map((f) => item(f.name)))) : null,
      el("h2", {}, say("result.paper")),
      el("iframe", { class: "paper", src: `${address("report.html")}?${shown}`, title: say("result.paper"), sandbox: "allow-scripts" }),
    );
    announce(say("result.made", { s: number(result.made_in_s, 1) }));
  }

  async function make() {
    if (working) return (again = true);
    working = true;
    const bar = el("progress", { "aria-label": say("result.working") });
    // Nothing moves for what is done at once.
    const late = setTimeout(() => fill(status, el("p", {}, say("result.working")), bar), 400);
    events.addEventListener("progress", (event) => {
      const { done, total } = JSON.parse(event.data);
      bar.max = total;
      bar.value = done;
    });
    try {
      show(await get(job(id, "/result")));
      clearTimeout(late);
      fill(status);
    } catch (error) {
      clearTimeout(late);
      fill(status, notice("bad", el("p", {}, say("result.none")), el("p", { class: "reason" }, error.message)), el("p", { class: "keys" }, el("a", { class: "key", href: `/job/${encodeURIComponent(id)}/takes` }, say("nav.takes")), button(say("result.again"), make)));
    }
    working = false;
    if (again) {
      again = false;
      await make();
    }
  }

  const events = new EventSource(job(id, "/events"));
  events.addEventListener("changed", make);
  await make();
  return say("nav.result");
}
