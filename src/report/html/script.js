"use strict";
(() => {
  // Seats: a box hides the seat's curves, labels, rows and columns.
  const box = document.getElementById("seats");
  const isOf = (name, seat) => name === seat || name.startsWith(seat + " (");
  const show = (seat, on) => {
    for (const group of document.querySelectorAll("[data-series]")) {
      if (isOf(group.dataset.series, seat)) group.classList.toggle("off", !on);
    }
    for (const table of document.querySelectorAll("table")) {
      [...table.rows[0].cells].forEach((head, column) => {
        if (column > 0 && head.textContent === seat) {
          for (const row of table.rows) row.cells[column].classList.toggle("off", !on);
        }
      });
      for (const row of table.tBodies[0].rows) {
        if (row.cells[0].textContent === seat) row.classList.toggle("off", !on);
      }
    }
  };
  if (box) {
    box.hidden = false;
    const boxes = [...box.querySelectorAll("input")];
    box.addEventListener("change", (event) => show(event.target.dataset.seat, event.target.checked));
    const all = (on) => boxes.forEach((b) => { b.checked = on; show(b.dataset.seat, on); });
    document.getElementById("all-seats").addEventListener("click", () => all(true));
    document.getElementById("no-seats").addEventListener("click", () => all(false));
  }

  // Plots: the values under the pointer, or under a cursor moved by arrow keys.
  const hertz = (hz) => (hz >= 1000 ? hz / 1000 + " kHz" : hz + " Hz");
  const number = (text) => text.replace("-", "\u2212");
  for (const plot of document.querySelectorAll(".plot")) {
    const svg = plot.querySelector("svg");
    if (!svg || !svg.dataset.plot) continue;
    const [left, top, right, bottom] = svg.dataset.plot.split(" ").map(Number);
    const series = [...svg.querySelectorAll("g[data-points]")].map((group) => ({
      group,
      name: group.dataset.series,
      values: new Map(group.dataset.points.split(" ").map((p) => p.split("=")).map(([x, v]) => [+x, v])),
    }));
    const stops = svg.dataset.stops.split(" ").map((s) => s.split("=")).map(([x, px]) => ({ x: +x, px: +px }));
    if (!stops.length || !series.length) continue;
    const readout = plot.parentElement.querySelector(".readout");
    readout.textContent = "Move the pointer over the plot, or use the arrow keys, to read values.";
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "cursor");
    line.setAttribute("y1", top);
    line.setAttribute("y2", bottom);
    let at = -1;
    const go = (index) => {
      at = Math.max(0, Math.min(stops.length - 1, index));
      const stop = stops[at];
      line.setAttribute("x1", stop.px);
      line.setAttribute("x2", stop.px);
      svg.append(line);
      const words = series
        .filter((s) => !s.group.classList.contains("off") && s.values.has(stop.x))
        .map((s) => s.name + ": " + (s.values.get(stop.x) ? number(s.values.get(stop.x)) : "no value"));
      readout.textContent = hertz(stop.x) + " \u2014 " + (words.length ? words.join(", ") + " (" + svg.dataset.values + ")" : "nothing is shown");
    };
    svg.addEventListener("pointermove", (event) => {
      const frame = svg.getBoundingClientRect();
      const x = ((event.clientX - frame.left) / frame.width) * svg.viewBox.baseVal.width;
      if (x < left - 20 || x > right + 20) return;
      let nearest = 0;
      stops.forEach((s, i) => { if (Math.abs(s.px - x) < Math.abs(stops[nearest].px - x)) nearest = i; });
      if (nearest !== at) go(nearest);
    });
    plot.addEventListener("keydown", (event) => {
      const step = { ArrowRight: at + 1, ArrowLeft: at < 0 ? stops.length - 1 : at - 1, Home: 0, End: stops.length - 1 }[event.key];
      if (step === undefined) return;
      event.preventDefault();
      go(step);
    });
  }
})();
