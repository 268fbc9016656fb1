// Lines on the surface: edges by their kind in full lines, dashes, dash-dot and dots (docs/look.md).
import { LineMaterial } from "three/addons/lines/LineMaterial.js";
import { LineSegments2 } from "three/addons/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/addons/lines/LineSegmentsGeometry.js";

// Lengths of strokes and spaces in millimetres on the body, in turn; none is a full line.
const DASHES = { open: [], gap: [56, 26], trim: [56, 18, 8, 18], inner: [7, 17] };
const STEP_MM = 6;
const CELL_MM = 4;
const EDGE_PX = 2.4;
const RIM_PX = 1.6;
const DRAWN_PX = 5;

export function surfaceLines(panels) {
  const segments = [];
  const drawn = new Set();
  for (const panel of panels) {
    for (const edge of panel.edges) {
      for (const run of notYetDrawn(triples(edge.points), drawn)) {
        dash(run, DASHES[edge.kind] ?? [], segments);
      }
    }
  }
  return lines(segments, EDGE_PX);
}

export function rimLines(panels) {
  const segments = [];
  for (const panel of panels) {
    for (const item of panel.keep_outs) {
      const points = triples(item.points);
      dash([...points, points[0]], [], segments);
    }
  }
  return lines(segments, RIM_PX);
}

export function drawnLines(polylines) {
  const segments = [];
  for (const points of polylines) {
    dash(points, [], segments);
  }
  return lines(segments, DRAWN_PX);
}

// Two panels share the line of a gap between them; dashes drawn twice would close each other's
// spaces. Gives the runs of a polyline that do not lie on an earlier one, and adds it to `drawn`.
function notYetDrawn(points, drawn) {
  const cells = new Set();
  const fresh = [];
  for (let i = 1; i < points.length; i++) {
    const [from, to] = [points[i - 1], points[i]];
    const count = Math.ceil(Math.hypot(...to.map((value, k) => value - from[k])) / STEP_MM) || 1;
    for (let k = 0; k < count; k++) {
      fresh.push(between(from, to, k / count));
    }
  }
  fresh.push(points.at(-1));
  const runs = [];
  let run = [];
  for (const point of fresh) {
    const cell = point.map((value) => Math.round(value / CELL_MM));
    if (isNear(cell, drawn)) {
      runs.push(run);
      run = [];
    } else {
      run.push(point);
    }
    cells.add(cell.join());
  }
  runs.push(run);
  for (const cell of cells) {
    drawn.add(cell);
  }
  return runs.filter((found) => found.length > 1);
}

function isNear(cell, drawn) {
  for (let i = -1; i <= 1; i++) {
    for (let j = -1; j <= 1; j++) {
      for (let k = -1; k <= 1; k++) {
        if (drawn.has([cell[0] + i, cell[1] + j, cell[2] + k].join())) {
          return true;
        }
      }
    }
  }
  return false;
}

function triples(flat) {
  const points = [];
  for (let i = 0; i + 2 < flat.length; i += 3) {
    points.push(flat.slice(i, i + 3));
  }
  return points;
}

function lines(segments, width) {
  const geometry = new LineSegmentsGeometry();
  geometry.setPositions(segments.length ? segments : [0, 0, 0, 0, 0, 0]);
  return new LineSegments2(geometry, new LineMaterial({ linewidth: width }));
}

// Adds the strokes of a polyline to `segments`, six numbers each.
function dash(points, pattern, segments) {
  let part = 0;
  let left = pattern[0] ?? Infinity;
  for (let i = 1; i < points.length; i++) {
    const [from, to] = [points[i - 1], points[i]];
    const length = Math.hypot(to[0] - from[0], to[1] - from[1], to[2] - from[2]);
    let done = 0;
    while (done < length) {
      const step = Math.min(left, length - done);
      if (part % 2 === 0) {
        segments.push(...between(from, to, done / length), ...between(from, to, (done + step) / length));
      }
      done += step;
      left -= step;
      if (left <= 0) {
        part = (part + 1) % pattern.length;
        left = pattern[part];
      }
    }
  }
}

function between(from, to, share) {
  return from.map((value, i) => value + share * (to[i] - value));
}
