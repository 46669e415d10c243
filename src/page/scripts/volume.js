// The volume of the page, at hand wherever sound is played.
import { el, unique } from "./dom.js";
import { number, say } from "./words.js";

const LOWEST_DB = -50;

export function volume(player) {
  const id = unique("volume");
  const text = (db) => say("listen.db", { db: number(db, 0) });
  const told = el("output", { for: id }, text(player.volumeDb));
  const slide = el("input", { type: "range", id, min: LOWEST_DB, max: 0, step: 1, value: player.volumeDb });
  slide.addEventListener("input", () => {
    player.volume(Number(slide.value));
    told.textContent = text(player.volumeDb);
  });
  return el("div", { class: "field" }, el("label", { for: id }, say("listen.volume")), el("div", { class: "entry" }, slide, told), el("p", { class: "hint" }, say("listen.volume_hint")));
}
