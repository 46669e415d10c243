// Seats as a list and as a plan from above, the screen on top.
import { announce, button, el, fill, svg } from "./dom.js";
import { field, group } from "./fields.js";
import { number, say } from "./words.js";

const STEP_M = 0.1;
const SCALE = 60; // points of the drawing for a metre
const round = (x) => Math.round(x / STEP_M) * STEP_M;
const tidy = (x) => Number(x.toFixed(2));

export function seats(manifest) {
  const list = el("div", { class: "seat-list" });
  const plan = el("div", { class: "plan" });
  const wrong = el("p", { class: "wrong", role: "alert" });
  const save = (changes) => manifest.save(changes).then(() => ((wrong.textContent = ""), redraw()), (error) => (wrong.textContent = error.message));
  const all = () => manifest.values?.seat ?? [];

  function row(seat, i) {
    const f = (options) => field(manifest, options);
    return el(
      "div",
      { class: "seat", role: "group", "aria-label": say("seats.one", { id: seat.id }) },
      f({ path: ["seat", i, "id"], label: "seats.id" }),
      f({ path: ["seat", i, "name"], label: "seats.name" }),
      position(seat, i),
      f({ path: ["seat", i, "weight"], kind: "number", label: "seats.weight", placeholder: "1" }),
      button(say("seats.remove"), () => save([{ path: ["seat", i], value: null }]), { "aria-label": say("seats.remove_one", { id: seat.id }) }),
    );
  }

  // Three numbers that only make sense together.
  function position(seat, i) {
    const values = [...(seat.position_m ?? [null, null, null])];
    const part = { values: {}, at: (p) => values[p[0]] };
    part.check = async () => null;
    part.save = async ([change]) => {
      values[change.path[0]] = change.value;
      const said = values.filter((v) => v !== null);
      if (said.length === 3 || said.length === 0) {
        await manifest.save([{ path: ["seat", i, "position_m"], value: said.length ? values : null }]);
        drawPlan();
      }
    };
    return [
      field(part, { path: [0], kind: "number", label: "seats.ahead", unit: "m" }),
      field(part, { path: [1], kind: "number", label: "seats.right", unit: "m" }),
      field(part, { path: [2], kind: "number", label: "seats.height", unit: "m" }),
    ];
  }

  function add() {
    const have = all().map((s) => s.id.toLowerCase());
    let n = have.length + 1;
    while (have.includes(`s${n}`)) n += 1;
    save([{ path: ["seat", have.length], value: { id: `S${n}` } }]);
  }

  function drawPlan() {
    const placed = all().map((seat, i) => ({ seat, i, at: seat.position_m ?? null }));
    const known = placed.filter((p) => p.at);
    const depth = Math.max(4, ...known.map((p) => p.at[0] + 1));
    const half = Math.max(2.5, ...known.map((p) => Math.abs(p.at[1]) + 1));
    const width = manifest.at(["screen", "width_m"]) ?? 2.5;
    const lines = [];
    for (let x = -Math.floor(half); x <= half; x += 1) lines.push(svg("line", { x1: x * SCALE, x2: x * SCALE, y1: 0, y2: depth * SCALE, class: "grid" }));
    for (let y = 0; y <= depth; y += 1) lines.push(svg("line", { x1: -half * SCALE, x2: half * SCALE, y1: y * SCALE, y2: y * SCALE, class: "grid" }));
    const drawing = svg(
      "svg",
      { viewBox: `${-half * SCALE} -40 ${2 * half * SCALE} ${depth * SCALE + 50}`, role: "group", "aria-label": say("plan.label") },
      lines,
      svg("line", { x1: (-width / 2) * SCALE, x2: (width / 2) * SCALE, y1: -6, y2: -6, class: "sheet" }),
      svg("text", { x: 0, y: -16, class: "plan-word" }, say("plan.screen")),
      known.map((p) => seatMark(p, drawingPoint)),
    );
    function drawingPoint(event) {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
      return [point.y / SCALE, point.x / SCALE];
    }
    const missing = placed.filter((p) => !p.at);
    fill(
      plan,
      el("p", { class: "hint" }, say("plan.hint")),
      drawing,
      missing.length
        ? el("p", { class: "keys" }, missing.map((p) => button(say("plan.put", { id: p.seat.id }), () => move(p, [3, tidy(((p.i % 5) - 2) * 0.8), 1.1]))))
        : null,
    );
  }

  async function move(p, to) {
    const ahead = Math.max(0.2, tidy(to[0]));
    const value = [ahead, tidy(to[1]), to[2]];
    await save([{ path: ["seat", p.i, "position_m"], value }]);
    plan.querySelector(`[data-seat="${p.i}"]`)?.focus();
    announce(say("plan.at", { id: p.seat.id, ahead: number(value[0], 1), right: number(value[1], 1) }));
  }

  function seatMark(p, pointOf) {
    const [ahead, right] = p.at;
    const mark = svg(
      "g",
      {
        class: "seat-mark",
        tabindex: 0,
        role: "button",
        "data-seat": p.i,
        transform: `translate(${right * SCALE} ${ahead * SCALE})`,
        "aria-label": say("plan.seat", { id: p.seat.id, ahead: number(ahead, 1), right: number(right, 1) }),
      },
      svg("circle", { r: 20, class: "seat-round" }),
      svg("text", { y: 5, class: "plan-word" }, p.seat.id),
    );
    mark.addEventListener("keydown", (event) => {
      const by = { ArrowUp: [-STEP_M, 0], ArrowDown: [STEP_M, 0], ArrowLeft: [0, -STEP_M], ArrowRight: [0, STEP_M] }[event.key];
      if (!by) return;
      event.preventDefault();
      move(p, [round(ahead + by[0]), round(right + by[1]), p.at[2]]);
    });
    mark.addEventListener("pointerdown", (down) => {
      mark.setPointerCapture(down.pointerId);
      let to = null;
      const drag = (event) => {
        const [y, x] = pointOf(event);
        to = [round(Math.max(0.2, y)), round(x), p.at[2]];
        mark.setAttribute("transform", `translate(${to[1] * SCALE} ${to[0] * SCALE})`);
      };
      mark.addEventListener("pointermove", drag);
      const end = () => {
        mark.removeEventListener("pointermove", drag);
        if (to) move(p, to);
      };
      mark.addEventListener("pointerup", end, { once: true });
      mark.addEventListener("pointercancel", () => drawPlan(), { once: true });
    });
    return mark;
  }

  function redraw() {
    fill(list, all().map(row));
    drawPlan();
  }
  redraw();
  return group(say("seats.heading"), el("p", { class: "hint" }, say("seats.hint")), plan, list, wrong, el("p", {}, button(say("seats.add"), add)));
}
