// Shapes where they lie, and how near two of them come: pure functions on numbers, in millimetres.
//
// A shape is a list of closed rings, each a flat list x0, y0, x1, y1 …; the first is the outline, the
// others are cut-outs. y runs upwards, turns are in degrees counter-clockwise.

/** A shape turned about its origin and moved, with its box [x0, y0, x1, y1]. */
export function placed(rings, turn, x, y) {
  const angle = (turn * Math.PI) / 180;
  const cos = Math.cos(angle);
  const sin = Math.sin(angle);
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  const moved = rings.map((ring) => {
    const found = new Float64Array(ring.length);
    for (let i = 0; i < ring.length; i += 2) {
      const px = x + cos * ring[i] - sin * ring[i + 1];
      const py = y + sin * ring[i] + cos * ring[i + 1];
      found[i] = px;
      found[i + 1] = py;
      box[0] = Math.min(box[0], px);
      box[1] = Math.min(box[1], py);
      box[2] = Math.max(box[2], px);
      box[3] = Math.max(box[3], py);
    }
    return found;
  });
  return { rings: moved, box };
}

/** The same shape moved without turning; cheaper, for a piece that is drawn along. */
export function shifted(shape, dx, dy) {
  const rings = shape.rings.map((ring) => ring.map((value, i) => value + (i % 2 ? dy : dx)));
  const [x0, y0, x1, y1] = shape.box;
  return { rings, box: [x0 + dx, y0 + dy, x1 + dx, y1 + dy] };
}

/** How far two boxes lie apart; 0 where they meet. */
export function boxDistance(a, b) {
  const dx = Math.max(b[0] - a[2], a[0] - b[2], 0);
  const dy = Math.max(b[1] - a[3], a[1] - b[3], 0);
  return Math.hypot(dx, dy);
}

/**
 * How near two shapes come: {distance, at}, at being the nearest points of both. Where they overlap the
 * distance is 0 and at is one point of it; where they are farther apart than `most` it is null.
 */
export function between(a, b, most) {
  if (boxDistance(a.box, b.box) > most) {
    return null;
  }
  for (const [outer, inner] of [[a, b], [b, a]]) {
    const [x, y] = inner.rings[0];
    if (holds(outer, x, y)) {
      return { distance: 0, at: [[x, y]] };
    }
  }
  return nearest(sides(a, b.box, most), sides(b, a.box, most), most);
}

/** Whether a point lies within a shape and not in a cut-out. */
export function holds(shape, x, y) {
  const [x0, y0, x1, y1] = shape.box;
  if (x < x0 || x > x1 || y < y0 || y > y1) {
    return false;
  }
  let isInside = false;
  for (const ring of shape.rings) {
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
      const yi = ring[i + 1];
      const yj = ring[j + 1];
      if (yi > y !== yj > y && x < ring[i] + ((y - yi) / (yj - yi)) * (ring[j] - ring[i])) {
        isInside = !isInside;
      }
    }
  }
  return isInside;
}

/** The sides of a shape that may come within `most` of a box, four numbers each. */
function sides(shape, box, most) {
  const [x0, y0, x1, y1] = [box[0] - most, box[1] - most, box[2] + most, box[3] + most];
  const found = [];
  for (const ring of shape.rings) {
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
      const [ax, ay, bx, by] = [ring[j], ring[j + 1], ring[i], ring[i + 1]];
      const isFar =
        (ax < x0 && bx < x0) || (ax > x1 && bx > x1) || (ay < y0 && by < y0) || (ay > y1 && by > y1);
      if (!isFar) {
        found.push(ax, ay, bx, by);
      }
    }
  }
  return found;
}

function nearest(first, second, most) {
  let best = most;
  let at = null;
  for (let i = 0; i < first.length; i += 4) {
    const [ax, ay, bx, by] = [first[i], first[i + 1], first[i + 2], first[i + 3]];
    const lowX = Math.min(ax, bx) - best;
    const highX = Math.max(ax, bx) + best;
    const lowY = Math.min(ay, by) - best;
    const highY = Math.max(ay, by) + best;
    for (let j = 0; j < second.length; j += 4) {
      const cx = second[j];
      const dx = second[j + 2];
      if ((cx < lowX && dx < lowX) || (cx > highX && dx > highX)) {
        continue;
      }
      const cy = second[j + 1];
      const dy = second[j + 3];
      if ((cy < lowY && dy < lowY) || (cy > highY && dy > highY)) {
        continue;
      }
      const crossing = crossingOf(ax, ay, bx, by, cx, cy, dx, dy);
      if (crossing !== null) {
        return { distance: 0, at: [crossing] };
      }
      const ends = [
        [ax, ay, cx, cy, dx, dy, false],
        [bx, by, cx, cy, dx, dy, false],
        [cx, cy, ax, ay, bx, by, true],
        [dx, dy, ax, ay, bx, by, true],
      ];
      for (const [px, py, qx, qy, rx, ry, isTurned] of ends) {
        const foot = footOf(px, py, qx, qy, rx, ry);
        const distance = Math.hypot(foot[0] - px, foot[1] - py);
        if (distance < best || (at === null && distance <= best)) {
          best = distance;
          at = isTurned ? [foot, [px, py]] : [[px, py], foot];
        }
      }
    }
  }
  return at === null ? null : { distance: best, at };
}

/** Where two sides cross, or null. */
function crossingOf(ax, ay, bx, by, cx, cy, dx, dy) {
  const turn = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx);
  if (turn === 0) {
    return null;
  }
  const s = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / turn;
  const t = ((cx - ax) * (by - ay) - (cy - ay) * (bx - ax)) / turn;
  return s >= 0 && s <= 1 && t >= 0 && t <= 1 ? [ax + s * (bx - ax), ay + s * (by - ay)] : null;
}

/** The point of a side that is nearest to a point. */
function footOf(px, py, qx, qy, rx, ry) {
  const [ux, uy] = [rx - qx, ry - qy];
  const length = ux * ux + uy * uy;
  const share = length > 0 ? ((px - qx) * ux + (py - qy) * uy) / length : 0;
  const held = Math.max(0, Math.min(1, share));
  return [qx + held * ux, qy + held * uy];
}
