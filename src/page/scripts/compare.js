// Sessions side by side.
import { get, post } from "./ask.js";
import { el, fill, notice, unique } from "./dom.js";
import { papers } from "./predict.js";
import { say } from "./words.js";

export async function draw(place) {
  const list = await get("/api/jobs");
  const out = el("div", { role: "status" });
  const usable = list.jobs.filter((j) => !j.problem && j.seats_done[0] > 0 && j.seats_done[1] > 0);
  const boxes = usable.map((job) => {
    const id = unique("job");
    return { job, id, box: el("input", { type: "checkbox", id, checked: true }) };
  });
  const sameId = unique("same");
  const same = el("input", { type: "checkbox", id: sameId });
  const go = async (event) => {
    event.preventDefault();
    fill(out, el("p", {}, say("compare.working")), el("progress", { "aria-label": say("compare.working") }));
    try {
      const chosen = boxes.filter((b) => b.box.checked).map((b) => b.job);
      // The older one first.
      if (same.checked) chosen.sort((a, b) => `${a.date ?? ""}`.localeCompare(`${b.date ?? ""}`));
      const ask = { jobs: chosen.map((j) => j.id), same_room: same.checked };
      papers(out, await post("/api/compare", ask), same.checked ? "again.html" : "comparison.html");
    } catch (error) {
      fill(out, notice("bad", el("p", {}, error.message)));
    }
  };
  fill(
    place,
    el("h1", {}, say("compare.heading")),
    el("p", {}, say("compare.hint")),
    usable.length < 2
      ? notice("doubt", el("p", {}, say("compare.too_few")))
      : el("form", { onsubmit: go }, el("fieldset", {}, el("legend", {}, say("compare.jobs")), boxes.map(({ job, id, box }) => el("p", { class: "tick" }, box, el("label", { for: id }, job.sheet ? `${job.title} – ${job.sheet}` : job.title)))), el("p", { class: "tick" }, same, el("label", { for: sameId }, say("compare.same_room"))), el("p", {}, el("button", { class: "key" }, say("compare.go")))),
    out,
  );
  return say("compare.heading");
}
