// What is wrong with pieces as they lie: overlaps, gaps, margins, faults, sections, the roll's end.
//
// The server judges again, by exact curves; this is as near as chords of a hundredth of a millimetre are.

import { between, boxDistance, placed, shifted } from "./by_hand_shapes.js";

const TOLERANCE_MM = 0.03;
const SLIDE_MM = 0.01;
const SHY_MM = 0.02;
const GRAZE_MM = 0.002;

export class Judge {
  /**
   * @param film {width, edge, end, gap, longest, length, faults: [[start, end, reason]], ends: [mm]}
   * @param pieces [{number, rings, lie: {turn, x, y}}]
   */
  constructor(film, pieces) {
    this.film = film;
    this.pieces = pieces.map(({ number, rings }) => ({ number, rings }));
    this.shapes = pieces.map(({ rings, lie }) => placed(rings, lie.turn, lie.x, lie.y));
    this.lies = pieces.map(({ lie }) => lie);
    this.near = new Map();
  }

  /** Let a piece lie elsewhere. */
  put(index, lie) {
    const was = this.lies[index];
    this.shapes[index] =
      was.turn === lie.turn
        ? shifted(this.shapes[index], lie.x - was.x, lie.y - was.y)
        : placed(this.pieces[index].rings, lie.turn, lie.x, lie.y);
    this.lies[index] = lie;
    for (let other = 0; other < this.pieces.length; other += 1) {
      this.near.delete(this.key(index, other));
    }
  }

  /** From its outline again, so that small errors of many moves do not add up. */
  settle(index) {
    const { turn, x, y } = this.lies[index];
    this.shapes[index] = placed(this.pieces[index].rings, turn, x, y);
  }

  key(a, b) {
    return Math.min(a, b) * this.pieces.length + Math.max(a, b);
  }

  /** {distance, at} of two pieces that are nearer than the gap, or null. */
  pair(a, b) {
    const key = this.key(a, b);
    let found = this.near.get(key);
    if (found === undefined) {
      const [first, second] = [Math.min(a, b), Math.max(a, b)];
      found = between(this.shapes[first], this.shapes[second], this.film.gap - TOLERANCE_MM);
      this.near.set(key, found);
    }
    return found;
  }

  /** The nearest other piece within `most`: {index, distance}, or null. */
  neighbour(index, most) {
    let best = null;
    this.shapes.forEach((shape, other) => {
      const limit = best === null ? most : best.distance;
      if (other !== index && boxDistance(shape.box, this.shapes[index].box) <= limit) {
        const found = between(this.shapes[index], shape, limit);
        if (found !== null && (best === null || found.distance < best.distance)) {
          best = { index: other, ...found };
        }
      }
    });
    return best;
  }

  /** All that is wrong, and the sections and film that the pieces make. */
  judge() {
    const findings = [];
    for (let a = 0; a < this.pieces.length; a += 1) {
      for (let b = a + 1; b < this.pieces.length; b += 1) {
        const found = this.pair(a, b);
        if (found !== null) {
          const fault = found.distance === 0 ? "overlap" : "gap";
          findings.push({ fault, pieces: [a, b], amount: found.distance, at: found.at });
        }
      }
    }
    const made = sectionsOf(this.shapes.map((shape) => [shape.box[0], shape.box[2]]), this.film);
    this.shapes.forEach((shape, index) => findings.push(...this.margins(shape.box, index, made)));
    for (const reach of made.tooLong) {
      const amount = reach.end - reach.start - this.film.longest;
      const at = [[reach.start + this.film.longest, this.film.width / 2]];
      findings.push({ fault: "section", pieces: reach.pieces, amount, at });
    }
    const length = made.sections.length > 0 ? made.sections.at(-1)[1] : 0;
    if (this.film.length !== null && length > this.film.length + TOLERANCE_MM) {
      findings.push({ fault: "roll", pieces: [], amount: length - this.film.length, at: [] });
    }
    return { findings, sections: made.sections, length };
  }

  margins([x0, y0, x1, y1], index, made) {
    const { width, edge, end, faults } = this.film;
    const found = [];
    const across = Math.max(edge - y0, y1 - (width - edge));
    if (across > TOLERANCE_MM) {
      const at = edge - y0 > y1 - (width - edge) ? [(x0 + x1) / 2, y0] : [(x0 + x1) / 2, y1];
      found.push({ fault: "edge", pieces: [index], amount: across, at: [at] });
    }
    const along = made.sections[made.own[index]][0] + end - x0;
    if (along > TOLERANCE_MM) {
      found.push({ fault: "end", pieces: [index], amount: along, at: [[x0, (y0 + y1) / 2]] });
    }
    for (const [start, stop, reason] of faults) {
      if (x0 - end < stop - TOLERANCE_MM && x1 + end > start + TOLERANCE_MM) {
        const at = [[(Math.max(x0, start) + Math.min(x1, stop)) / 2, (y0 + y1) / 2]];
        found.push({ fault: "fault", pieces: [index], amount: null, at, reason });
      }
    }
    return found;
  }

  /**
   * How far a piece may go in a direction until the gap, a margin or the cut end holds it; 0 where it
   * is too near to another already.
   */
  slide(index, dx, dy) {
    const { width, edge, end, gap } = this.film;
    const own = this.shapes[index];
    const [x0, y0, x1, y1] = own.box;
    const others = this.shapes.filter((_, i) => i !== index);
    const last = Math.max(x0, ...others.map(({ box }) => box[2] + gap));
    const room =
      dx < 0 ? x0 - end : dx > 0 ? last - x0 : dy < 0 ? y0 - edge : width - edge - y1;
    const swept = [
      Math.min(x0, x0 + dx * room),
      Math.min(y0, y0 + dy * room),
      Math.max(x1, x1 + dx * room),
      Math.max(y1, y1 + dy * room),
    ];
    // Chords lie a little inside curves, so that it stops a little before the gap; what is as near
    // already may stay so, and is passed by.
    const met = others
      .filter(({ box }) => boxDistance(box, swept) < gap + SHY_MM)
      .map((other) => {
        const now = between(own, other, gap + SHY_MM);
        return { other, least: now === null ? gap + SHY_MM : now.distance - GRAZE_MM };
      });
    const isFree = (way) => {
      const there = shifted(own, dx * way, dy * way);
      return met.every(({ other, least }) => between(there, other, least) === null);
    };
    const isNear = met.some(({ least }) => least < gap - TOLERANCE_MM - GRAZE_MM);
    if (!(room > 0) || isNear || !isFree(0)) {
      return 0;
    }
    // What is in the way is at least twice the gap thick, with the gap about it.
    const step = Math.max(1, gap);
    let gone = 0;
    while (gone < room && isFree(Math.min(room, gone + step))) {
      gone = Math.min(room, gone + step);
    }
    let beyond = Math.min(room, gone + step);
    while (beyond - gone > SLIDE_MM) {
      const middle = (gone + beyond) / 2;
      if (isFree(middle)) {
        gone = middle;
      } else {
        beyond = middle;
      }
    }
    return gone;
  }
}

/**
 * Sections for pieces that reach along the roll so far: they end in lanes that are free of pieces, where
 * they ended until now, at faults, and else in as few as their limit lets them be.
 */
export function sectionsOf(along, film) {
  const lane = Math.max(2 * film.end, film.gap);
  const atoms = [];
  const order = along.map((_, i) => i).sort((a, b) => along[a][0] - along[b][0]);
  for (const piece of order) {
    const [start, end] = along[piece];
    const last = atoms.at(-1);
    if (last !== undefined && start < last.end + lane - TOLERANCE_MM) {
      last.end = Math.max(last.end, end);
      last.pieces.push(piece);
    } else {
      atoms.push({ start, end, pieces: [piece] });
    }
  }
  const longest = film.longest + TOLERANCE_MM;
  const stops = [...film.ends, ...film.faults.map(([start]) => start)];
  const groups = [];
  for (const atom of atoms) {
    const last = groups.at(-1);
    const isNew =
      last === undefined ||
      atom.end - last.start > longest ||
      stops.some((stop) => last.end - TOLERANCE_MM <= stop && stop <= atom.start + TOLERANCE_MM);
    if (isNew) {
      groups.push({ ...atom, pieces: [...atom.pieces] });
    } else {
      last.end = atom.end;
      last.pieces.push(...atom.pieces);
    }
  }
  const sections = [];
  const own = along.map(() => 0);
  groups.forEach((group, index) => {
    const before = sections.length > 0 ? sections.at(-1)[1] : 0;
    const start = Math.max(before, group.start - film.end);
    sections.push([start, Math.max(start, group.end + film.end)]);
    for (const piece of group.pieces) {
      own[piece] = index;
    }
  });
  return { sections, own, tooLong: atoms.filter(({ start, end }) => end - start > longest) };
}
