// Which screen is shown, and the way between screens.
import { el, fill, notice } from "./dom.js";
import { say } from "./words.js";

const SCREENS = ["room", "screen", "limits", "client", "takes", "result", "listen"];
const [, first = "", id = "", screen = ""] = location.pathname.split("/").map(decodeURIComponent);
const place = document.getElementById("screen");

function link(href, text, here) {
  return el("a", { href, "aria-current": here ? "page" : null }, text);
}

function head() {
  const ways = [link("/", say("nav.jobs"), first === ""), link("/predict", say("nav.predict"), first === "predict"), link("/compare", say("nav.compare"), first === "compare"), link("/choose", say("nav.choose"), first === "choose")];
  const top = document.getElementById("top");
  fill(top, el("p", { class: "mark" }, say("app.name")), el("nav", { "aria-label": say("nav.main") }, ways));
  if (first !== "job") return;
  const steps = SCREENS.map((name) => el("li", {}, link(`/job/${encodeURIComponent(id)}/${name}`, say(`nav.${name}`), name === screen)));
  top.append(el("nav", { "aria-label": say("nav.job"), class: "steps" }, el("ol", {}, steps)));
}

async function show() {
  head();
  const name = first === "" ? "jobs" : first === "job" ? screen : first;
  const file = { jobs: "jobs", new: "new_job", predict: "predict", compare: "compare", choose: "choose", room: "room", screen: "sheet", limits: "limits", client: "client", takes: "takes", result: "result", listen: "listen" }[name];
  try {
    if (!file) throw new Error(say("error.nothing_here"));
    const { draw } = await import(`./${file}.js`);
    const title = await draw(place, id);
    document.title = `${title} – ${say("app.name")}`;
  } catch (error) {
    fill(place, el("h1", {}, say("error.heading")), notice("bad", el("p", {}, error.message)));
    console.error(error);
  }
}

await show();
