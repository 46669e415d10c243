// The jobs of the opened folder.
import { get } from "./ask.js";
import { el, fill } from "./dom.js";
import { overview } from "./sheets.js";
import { number, say } from "./words.js";

function state(job) {
  if (job.problem) return say("jobs.cannot_open");
  const [without, withIt] = job.seats_done;
  if (without + withIt === 0) return say("jobs.no_takes");
  if (without < job.n_seats) return say("jobs.without_open", { done: without, n: job.n_seats });
  if (withIt === 0) return say("jobs.hang");
  if (withIt < job.n_seats) return say("jobs.with_open", { done: withIt, n: job.n_seats });
  return job.result ? say("jobs.done") : say("jobs.look");
}

function claims(job) {
  const verdicts = job.result?.verdicts ?? [];
  if (!verdicts.length) return null;
  const kept = verdicts.filter((v) => v === "pass").length;
  return say("jobs.claims", { kept, n: verdicts.length });
}

function row(job) {
  const done = job.result && job.seats_done.every((n) => n === job.n_seats);
  const where = job.problem || !job.n_takes ? "room" : done ? "result" : "takes";
  const facts = [
    [say("jobs.sheet"), job.sheet],
    [say("jobs.client"), job.client],
    [say("jobs.date"), job.date],
    [say("jobs.loss"), job.result?.mean_loss_db !== undefined && job.result?.mean_loss_db !== null ? `${number(job.result.mean_loss_db, 2)} dB` : null],
    [say("jobs.claims_head"), claims(job)],
  ].filter(([, value]) => value);
  return el(
    "li",
    { class: "job" },
    el("h2", {}, el("a", { href: `/job/${encodeURIComponent(job.id)}/${where}` }, job.title)),
    el("p", { class: "state" }, state(job)),
    job.problem ? el("p", { class: "small" }, job.problem) : null,
    facts.length ? el("dl", { class: "facts" }, facts.map(([name, value]) => el("div", {}, el("dt", {}, name), el("dd", {}, value)))) : null,
  );
}

export async function draw(place) {
  const list = await get("/api/jobs");
  const more = list.single
    ? el("p", { class: "small" }, say("jobs.single"))
    : el("p", {}, el("a", { class: "key", href: "/new" }, say("jobs.new")));
  const sheets = el("section", {});
  fill(
    place,
    el("h1", {}, say("jobs.title")),
    el("p", {}, say("jobs.folder", { folder: list.folder })),
    list.single ? null : more,
    list.jobs.length ? el("ul", { class: "jobs" }, list.jobs.map(row)) : el("p", {}, say("jobs.none")),
    sheets,
    list.single ? more : null,
  );
  // The list is there at once; what the sheets did may take a moment longer.
  if (!list.single) await overview(sheets);
  return say("jobs.title");
}
