// What the lists of the page name and both pictures draw: cuts, seams and finger zones; and cuts
// that are led by hand to the place that is pinned.

// A line of the flat follows the surface when it is looked up so often.
const STEP_MM = 3;

// {name, line, at, isTaken} each: flat points of a line, empty for a zone, and where its name stands.
export function drawnOf(page) {
  const found = [];
  for (const row of page.querySelectorAll("[data-cut][data-flat]")) {
    const ends = JSON.parse(row.dataset.flat || "[]");
    if (ends.length > 1) {
      const line = fine(ends);
      // A cut's name stands at its tip, a seam's at its middle.
      const at = row.dataset.cut.startsWith("S") ? line[line.length >> 1] : line.at(-1);
      found.push({ name: row.dataset.cut, line, at, isTaken: "taken" in row.dataset });
    }
  }
  for (const row of page.querySelectorAll("[data-zone][data-flat]")) {
    found.push({ name: row.dataset.zone, line: [], at: JSON.parse(row.dataset.flat), isTaken: false });
  }
  return found;
}

function fine(line) {
  const points = [line[0]];
  for (let i = 1; i < line.length; i++) {
    const [from, to] = [line[i - 1], line[i]];
    const count = Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / STEP_MM) || 1;
    for (let k = 1; k <= count; k++) {
      points.push([0, 1].map((j) => from[j] + (k / count) * (to[j] - from[j])));
    }
  }
  return points;
}

// Lets cuts end at the place that is pinned. `startOf(flat)` is the point of the body on the nearest
// edge, or null.
export function leadByHand(page, startOf) {
  const forms = [...page.querySelectorAll("[data-by-hand]")];
  for (const place of forms) {
    place.hidden = false;
  }
  page.addEventListener("fit-place", ({ detail }) => {
    for (const place of forms) {
      const form = place.querySelector("form");
      const cut = place.closest("[data-cut]");
      const start = cut ? JSON.parse(cut.dataset.start) : startOf(detail.flat);
      const isUsable = start !== null && detail.point !== null;
      form.querySelector("button").disabled = !isUsable;
      if (isUsable) {
        const path = JSON.stringify([start, detail.point].map(rounded));
        const isMove = form.elements.kind.value.startsWith("move-");
        form.elements[isMove ? "to" : "path"].value = path;
      }
    }
  });
}

function rounded(point) {
  return point.map((value) => Math.round(1000 * value) / 1000);
}
