// What moves on every view: values read off a plot, and times by the reader's own clock.
"use strict";

(() => {
  const numbers = (text) => text.split(" ").map(Number);

  // The lines of a plot, each a list of points as text and as places. Read anew each time: a plot may be growing.
  const linesOf = (svg) => {
    const [xLow, xHigh, left, right] = numbers(svg.dataset.x);
    const [yLow, yHigh, bottom, top] = numbers(svg.dataset.y);
    return [...svg.querySelectorAll("polyline[data-points]")].map((line) => ({
      said: line.dataset.said,
      notes: line.dataset.notes?.split(";") ?? [],
      points: line.dataset.points.split(";").filter(Boolean).map((pair) => {
        const [x, y] = pair.split(" ");
        return {
          x, y,
          left: left + ((Number(x) - xLow) / (xHigh - xLow)) * (right - left),
          top: bottom + ((Number(y) - yLow) / (yHigh - yLow)) * (top - bottom),
        };
      }),
    })).filter((line) => line.points.length > 0);
  };

  const readable = (figure) => {
    const output = figure.querySelector("output");
    // Looked up anew each time: a picture may be drawn anew.
    const picture = () => figure.querySelector("svg");
    let line = 0;
    let point = 0;

    const show = (lines) => {
      const svg = picture();
      const cursor = svg.querySelector(".cursor");
      line = Math.min(Math.max(line, 0), lines.length - 1);
      const points = lines[line].points;
      point = Math.min(Math.max(point, 0), points.length - 1);
      const { x, y, left, top } = points[point];
      cursor.querySelector("path").setAttribute("transform", `translate(${left} 0)`);
      cursor.querySelector("circle").setAttribute("transform", `translate(${left} ${top})`);
      cursor.setAttribute("visibility", "visible");
      const { xName, xUnit, yName, yUnit } = svg.dataset;
      const note = lines[line].notes[point];
      output.textContent = `${xName} ${x} ${xUnit}, ${yName} ${y} ${yUnit}, ${lines[line].said}${note ? `: ${note}` : ""}`;
    };

    // On the other line the nearest place, not the same count.
    const change = (lines, by) => {
      const from = lines[line]?.points[point];
      line = Math.min(Math.max(line + by, 0), lines.length - 1);
      if (from) point = nearest(lines[line].points, (at) => Math.abs(at.left - from.left));
    };

    const steps = {
      ArrowRight: () => { point += 1; },
      ArrowLeft: () => { point -= 1; },
      PageUp: () => { point += 10; },
      PageDown: () => { point -= 10; },
      Home: () => { point = 0; },
      End: () => { point = Infinity; },
      ArrowUp: (lines) => change(lines, -1),
      ArrowDown: (lines) => change(lines, 1),
    };

    figure.tabIndex = 0;
    figure.setAttribute("role", "group");
    figure.setAttribute("aria-label", `${picture().querySelector("title").textContent}: arrow keys read values`);
    output.textContent = "Point at the curve, or go to it and use the arrow keys, to read values.";

    figure.addEventListener("keydown", (event) => {
      const step = steps[event.key];
      const lines = linesOf(picture());
      if (!step || event.target !== figure || lines.length === 0) return;
      event.preventDefault();
      step(lines);
      show(lines);
    });

    figure.addEventListener("pointermove", (event) => {
      const svg = picture();
      if (!svg.contains(event.target)) return;
      const lines = linesOf(svg);
      const matrix = svg.getScreenCTM();
      if (!matrix || lines.length === 0) return;
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
      const away = (place) => Math.hypot(place.left - at.x, place.top - at.y);
      const best = lines.map(({ points }) => nearest(points, away));
      line = nearest(best.map((index, which) => lines[which].points[index]), away);
      point = best[line];
      show(lines);
    });
  };

  const nearest = (places, away) => {
    let best = 0;
    places.forEach((place, index) => { if (away(place) < away(places[best])) best = index; });
    return best;
  };

  const localise = (time) => {
    const moment = new Date(time.dateTime);
    if (Number.isNaN(moment.getTime())) return;
    time.title = time.textContent;
    time.textContent = moment.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  };

  document.querySelectorAll("figure.plot").forEach(readable);
  // A view that draws a part of itself anew says so.
  document.addEventListener("drawn", (event) => event.target.querySelectorAll("figure.plot").forEach(readable));
  document.querySelectorAll("time[datetime]").forEach(localise);
})();
