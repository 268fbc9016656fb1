// The flat pattern as numbers: which triangle a point lies in, and what is known there. Triangle k
// is triangle k of the surface in 3D; a place is {face, weights}, good for both.

const CELLS_PER_FACE = 1.5;
const MOST_CELLS = 1 << 18;

export class Pattern {
  constructor(json) {
    this.points = Float64Array.from(json.points);
    this.faces = Uint32Array.from(json.faces);
    this.stretch = json.stretch;
    this.compression = json.compression;
    this.direction = json.direction;
    this.limits = { stretch: json.stretch_limit, compression: json.finger_limit };
    this.edges = json.edges;
    this.free = json.free;
    this.places = json.places;
    this.map = json.map;
    this.info = json;
    this.index();
  }

  get count() {
    return this.faces.length / 3;
  }

  // Every triangle in each cell of a grid that its box touches, as runs in one list.
  index() {
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let i = 0; i < this.points.length; i += 2) {
      box[0] = Math.min(box[0], this.points[i]);
      box[1] = Math.min(box[1], this.points[i + 1]);
      box[2] = Math.max(box[2], this.points[i]);
      box[3] = Math.max(box[3], this.points[i + 1]);
    }
    const [wide, high] = [box[2] - box[0], box[3] - box[1]];
    const cells = Math.min(CELLS_PER_FACE * this.count, MOST_CELLS);
    this.cell = Math.sqrt((wide * high) / Math.max(cells, 1)) || 1;
    this.box = box;
    this.columns = Math.floor(wide / this.cell) + 1;
    this.rows = Math.floor(high / this.cell) + 1;
    this.starts = new Uint32Array(this.columns * this.rows + 1);
    this.eachCell((cell) => {
      this.starts[cell + 1]++;
    });
    for (let i = 1; i < this.starts.length; i++) {
      this.starts[i] += this.starts[i - 1];
    }
    const next = this.starts.slice();
    this.inCells = new Uint32Array(this.starts.at(-1));
    this.eachCell((cell, face) => {
      this.inCells[next[cell]++] = face;
    });
  }

  eachCell(take) {
    for (let face = 0; face < this.count; face++) {
      const [ax, ay, bx, by, cx, cy] = this.corners(face);
      const first = this.cellOf(Math.min(ax, bx, cx), Math.min(ay, by, cy));
      const last = this.cellOf(Math.max(ax, bx, cx), Math.max(ay, by, cy));
      for (let row = first[1]; row <= last[1]; row++) {
        for (let column = first[0]; column <= last[0]; column++) {
          take(row * this.columns + column, face);
        }
      }
    }
  }

  cellOf(x, y) {
    const clamp = (value, most) => Math.min(Math.max(Math.floor(value), 0), most - 1);
    return [
      clamp((x - this.box[0]) / this.cell, this.columns),
      clamp((y - this.box[1]) / this.cell, this.rows),
    ];
  }

  corners(face) {
    const { points, faces } = this;
    const [a, b, c] = [2 * faces[3 * face], 2 * faces[3 * face + 1], 2 * faces[3 * face + 2]];
    return [points[a], points[a + 1], points[b], points[b + 1], points[c], points[c + 1]];
  }

  // The place at a flat point: within a triangle, else the nearest one; `off` is how far that is.
  placeAt(x, y) {
    const [column, row] = this.cellOf(x, y);
    let best = null;
    const most = Math.max(this.columns, this.rows);
    for (let ring = 0; ring <= most; ring++) {
      for (const cell of this.ringOf(column, row, ring)) {
        for (let i = this.starts[cell]; i < this.starts[cell + 1]; i++) {
          const found = nearestIn(this.corners(this.inCells[i]), x, y);
          if (best === null || found.off < best.off) {
            best = { face: this.inCells[i], ...found };
            if (best.off === 0) {
              return best;
            }
          }
        }
      }
      // Cells farther out hold nothing nearer than the ring is away; a point beside the grid
      // stands in none of its cells.
      if (best !== null && best.off <= this.reach(x, y, column, row, ring)) {
        return best;
      }
    }
    return best;
  }

  reach(x, y, column, row, ring) {
    const left = x - (this.box[0] + (column - ring) * this.cell);
    const right = this.box[0] + (column + ring + 1) * this.cell - x;
    const low = y - (this.box[1] + (row - ring) * this.cell);
    const high = this.box[1] + (row + ring + 1) * this.cell - y;
    return Math.min(left, right, low, high);
  }

  *ringOf(column, row, ring) {
    for (let r = row - ring; r <= row + ring; r++) {
      if (r < 0 || r >= this.rows) {
        continue;
      }
      const isEnd = r === row - ring || r === row + ring;
      const step = isEnd || ring === 0 ? 1 : 2 * ring;
      for (let c = column - ring; c <= column + ring; c += step) {
        if (c >= 0 && c < this.columns) {
          yield r * this.columns + c;
        }
      }
    }
  }

  middleOf(face) {
    return { face, weights: [1 / 3, 1 / 3, 1 / 3], off: 0 };
  }

  // The flat point of a place.
  flatOf({ face, weights }) {
    const [ax, ay, bx, by, cx, cy] = this.corners(face);
    const [u, v, w] = weights;
    return [u * ax + v * bx + w * cx, u * ay + v * by + w * cy];
  }

  toMap(x, y) {
    const [a, b, c, d, e, f] = this.map.to_map;
    return [a * x + c * y + e, b * x + d * y + f];
  }

  fromMap(across, down) {
    const [a, b, c, d, e, f] = this.map.to_map;
    const size = a * d - b * c;
    const [p, q] = [across - e, down - f];
    return [(d * p - c * q) / size, (a * q - b * p) / size];
  }

  // Stretch and compression at vertices by their limits, by area means as on the printed map.
  ratiosAtVertices(areas) {
    const ratios = new Float32Array(this.points.length);
    const total = new Float64Array(this.points.length / 2);
    for (let face = 0; face < this.count; face++) {
      const stretch = Math.max(this.stretch[face], 0) / this.limits.stretch;
      const compression = Math.max(this.compression[face], 0) / this.limits.compression;
      for (let k = 0; k < 3; k++) {
        const vertex = this.faces[3 * face + k];
        ratios[2 * vertex] += areas[face] * stretch;
        ratios[2 * vertex + 1] += areas[face] * compression;
        total[vertex] += areas[face];
      }
    }
    for (let i = 0; i < ratios.length; i++) {
      ratios[i] /= Math.max(total[i >> 1], 1e-12);
    }
    return ratios;
  }

  // The nearest edge of the panel to a flat point, how far it is, and where on it that is: at
  // `share` of the way from one vertex to the next. Edges of a kind can be left aside.
  nearestEdge(x, y, without = null) {
    let best = null;
    for (const edge of this.edges) {
      if (edge.kind === without) {
        continue;
      }
      for (let i = 1; i < edge.vertices.length; i++) {
        const [p, q] = [2 * edge.vertices[i - 1], 2 * edge.vertices[i]];
        const ends = [this.points[p], this.points[p + 1], this.points[q], this.points[q + 1]];
        const [dx, dy, share] = offLine(ends, x, y);
        const distance = Math.hypot(dx, dy);
        if (best === null || distance < best.distance) {
          best = { edge, distance, vertices: [p / 2, q / 2], share };
        }
      }
    }
    return best;
  }
}

// The point of a triangle that is nearest to (x, y), as weights, and how far it is.
function nearestIn([ax, ay, bx, by, cx, cy], x, y) {
  const size = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
  if (size !== 0) {
    const u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / size;
    const v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / size;
    const w = 1 - u - v;
    if (u >= 0 && v >= 0 && w >= 0) {
      return { weights: [u, v, w], off: 0 };
    }
  }
  const sides = [
    [ax, ay, bx, by],
    [bx, by, cx, cy],
    [cx, cy, ax, ay],
  ];
  let best = null;
  sides.forEach((ends, side) => {
    const [dx, dy, t] = offLine(ends, x, y);
    const off = Math.hypot(dx, dy);
    if (best === null || off < best.off) {
      const weights = [0, 0, 0];
      weights[side] = 1 - t;
      weights[(side + 1) % 3] = t;
      best = { weights, off };
    }
  });
  return best;
}

function offLine([px, py, qx, qy], x, y) {
  const [dx, dy] = [qx - px, qy - py];
  const length = dx * dx + dy * dy;
  const t = length ? Math.min(Math.max(((x - px) * dx + (y - py) * dy) / length, 0), 1) : 0;
  return [x - px - t * dx, y - py - t * dy, t];
}
