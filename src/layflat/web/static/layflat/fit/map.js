// The flat pattern as a picture: shows the map, the names of its edges and the marks, and tells which
// flat point is pointed at or tapped.
import { onPoint } from "../viewer/pointer.js";
import { Cross, apart, drawCrosses, element, ring, tag } from "./marks.js";

const NAME_PX = 15;
const NAME_OFF_PX = 14;
const LETTER = 0.52;
const RING_PX = 13;
const ROOM_PX = RING_PX + 3;
const STEP_PX = 10;
const FAR_STEP = 5;
const ZOOMS = [1, 2, 4];
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export class FlatMap {
  // `tell(x, y, isPinned)` is called with flat points; x is null where nothing is pointed at.
  // `drawn` is what `drawnOf` gives.
  constructor(place, pattern, { map, name, drawn, tell }) {
    this.place = place;
    this.pattern = pattern;
    this.drawn = drawn;
    this.tell = tell;
    this.zoom = 0;
    this.middle = [pattern.map.width_mm / 2, pattern.map.height_mm / 2];
    // What is pointed at, and what was tapped.
    this.crosses = { pointed: new Cross(), pinned: new Cross() };
    this.marks = { pointed: null, pinned: null };
    this.names = element("g", { class: "fit-names" });
    this.lines = element("g", { class: "fit-lines" });
    this.rings = element("g", {});
    const crosses = Object.values(this.crosses).map((cross) => cross.group);
    this.image = element("image", {
      href: map,
      width: pattern.map.width_mm,
      height: pattern.map.height_mm,
    });
    this.picture = element("svg", {
      class: "fit-map",
      tabindex: 0,
      role: "application",
      "aria-label":
        `Flat pattern of ${name}. Arrow keys move the mark, with Shift in large steps; Enter pins ` +
        "it. The places to mind are in the list.",
    });
    this.picture.append(this.image, this.lines, this.names, this.rings, ...crosses);
    place.querySelector("img")?.classList.add("only-print");
    place.append(this.picture);
    this.zooms = this.buttons();
    place.previousElementSibling.append(this.zooms);
    this.at = null;
    pattern.places.forEach((found, i) => {
      const mark = ring(i + 1, found.is_beyond);
      this.rings.append(mark);
    });
    this.rings.append(...drawn.map(({ name, isTaken }) => tag(name, isTaken)));
    this.listen();
    new ResizeObserver(() => this.draw()).observe(this.picture);
    this.draw();
  }

  buttons() {
    const group = document.createElement("div");
    group.className = "fit-zoom";
    group.setAttribute("role", "group");
    group.setAttribute("aria-label", "Size of the pattern");
    for (const [word, label, step] of [
      ["+", "Larger", 1],
      ["−", "Smaller", -1],
    ]) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = word;
      button.setAttribute("aria-label", label);
      button.addEventListener("click", () => {
        this.zoom = Math.min(Math.max(this.zoom + step, 0), ZOOMS.length - 1);
        this.draw();
      });
      group.append(button);
    }
    return group;
  }

  listen() {
    const { picture } = this;
    onPoint(picture, {
      at: (event) => this.tell(...this.flatAt(event), false),
      away: () => this.tell(null, null, false),
    });
    picture.addEventListener("click", (event) => {
      // Keys and assistive technology click without a place.
      if (event.detail) {
        this.tell(...this.flatAt(event), true);
      }
    });
    picture.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) {
      return;
    }
    const way = KEYS[event.key];
    const from = this.at ?? this.pattern.toMap(...this.pattern.flatOf(this.pattern.middleOf(0)));
    if (way) {
      event.preventDefault();
      const step = (STEP_PX / this.scale) * (event.shiftKey ? FAR_STEP : 1);
      const to = [from[0] + step * way[0], from[1] + step * way[1]];
      this.tell(...this.pattern.fromMap(...to), true);
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.tell(...this.pattern.fromMap(...from), true);
    } else if (event.key === "+" || event.key === "=" || event.key === "-") {
      event.preventDefault();
      this.zoom = Math.min(Math.max(this.zoom + (event.key === "-" ? -1 : 1), 0), ZOOMS.length - 1);
      this.draw();
    }
  }

  flatAt(event) {
    const box = this.picture.getBoundingClientRect();
    const x = this.window[0] + (event.clientX - box.left) / this.scale;
    const y = this.window[1] + (event.clientY - box.top) / this.scale;
    return this.pattern.fromMap(x, y);
  }

  // Shows what is pointed at, null for nothing, or what was tapped.
  show(mark) {
    if (!mark?.isPinned) {
      this.marks.pointed = mark;
      this.drawMarks();
      return;
    }
    this.marks = { pointed: null, pinned: mark };
    this.at = this.pattern.toMap(...mark.flat);
    if (this.zoom && !this.isSeen(this.at)) {
      this.draw();
    } else {
      this.drawMarks();
    }
  }

  isSeen([x, y]) {
    const [left, top, wide, high] = this.window;
    const margin = 0.1 * Math.min(wide, high);
    return (
      x > left + margin && x < left + wide - margin && y > top + margin && y < top + high - margin
    );
  }

  drawMarks() {
    drawCrosses(this.crosses, this.marks, (cross, mark) => this.drawMark(cross, mark));
  }

  drawMark(cross, { flat, angle, stretch, compression, words, isPinned }) {
    const [a, b, c, d] = this.pattern.map.to_map;
    const [x, y] = [Math.cos(angle), Math.sin(angle)];
    const along = unit(a * x + c * y, b * x + d * y);
    cross.show(this.toScreen(this.pattern.toMap(...flat)), {
      along,
      across: [-along[1], along[0]],
      stretch,
      crossways: -compression,
      words,
      isPinned,
      wide: this.picture.clientWidth,
    });
  }

  toScreen([x, y]) {
    return [(x - this.window[0]) * this.scale, (y - this.window[1]) * this.scale];
  }

  // The map as large as its place and the zoom allow; marks and names stay as large as they are.
  draw() {
    const box = this.picture.getBoundingClientRect();
    if (!box.width || !box.height) {
      return;
    }
    const { width_mm: wide, height_mm: high } = this.pattern.map;
    // Rings on the pattern's very edge are seen whole.
    const room = 2 * ROOM_PX;
    const whole = Math.min((box.width - room) / wide, (box.height - room) / high);
    this.scale = whole * ZOOMS[this.zoom];
    const seen = [box.width / this.scale, box.height / this.scale];
    const middle = this.zoom ? (this.at ?? this.middle) : [wide / 2, high / 2];
    if (this.zoom) {
      this.middle = middle;
    }
    const low = [0, 1].map((i) => {
      const all = [wide, high][i];
      const margin = ROOM_PX / this.scale;
      return seen[i] >= all
        ? (all - seen[i]) / 2
        : Math.min(Math.max(middle[i] - seen[i] / 2, -margin), all + margin - seen[i]);
    });
    this.window = [...low, ...seen];
    const move = `translate(${-low[0] * this.scale} ${-low[1] * this.scale}) scale(${this.scale})`;
    this.image.setAttribute("transform", move);
    this.drawLines();
    this.drawNames();
    this.ringSpots().forEach(([x, y], i) => {
      this.rings.children[i].setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    });
    this.drawMarks();
    const [larger, smaller] = this.zooms.children;
    larger.disabled = this.zoom === ZOOMS.length - 1;
    smaller.disabled = this.zoom === 0;
  }

  // Where the numbered rings are on the screen, and after them the names of what is drawn.
  ringSpots() {
    const { pattern } = this;
    const places = pattern.places.map((place) => pattern.flatOf(pattern.middleOf(place.face)));
    const all = [...places, ...this.drawn.map(({ at }) => at)];
    return apart(all.map((flat) => this.toScreen(pattern.toMap(...flat))));
  }

  // Cuts and seams: full where they are taken, broken where they are proposed.
  drawLines() {
    this.lines.replaceChildren();
    for (const { line, isTaken } of this.drawn) {
      const points = line.map((flat) => this.toScreen(this.pattern.toMap(...flat)));
      const d = points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
      this.lines.append(
        element("path", { d, class: "line-casing" }),
        element("path", { d, class: isTaken ? "line-taken" : "line-proposed" }),
      );
    }
  }

  // Names of edges and free places, the longest edges first, where there is room.
  drawNames() {
    this.names.replaceChildren();
    const taken = this.ringSpots().map(([x, y]) => [x - RING_PX, y - RING_PX, x + RING_PX, y + RING_PX]);
    for (const [text, spots] of [...this.edgeNames(), ...this.freeNames()]) {
      const wide = LETTER * NAME_PX * text.length + 8;
      for (const [x, y] of spots) {
        const box = [x - wide / 2, y - NAME_PX / 2 - 3, x + wide / 2, y + NAME_PX / 2 + 3];
        if (this.isIn(box) && !taken.some((other) => overlap(box, other))) {
          taken.push(box);
          const name = element("text", { x: x.toFixed(1), y: (y + 5).toFixed(1), "text-anchor": "middle" });
          name.textContent = text;
          this.names.append(name);
          break;
        }
      }
    }
  }

  edgeNames() {
    return this.pattern.edges
      .filter((edge) => edge.title)
      .map((edge) => {
        const line = edge.vertices.map((vertex) =>
          this.toScreen(
            this.pattern.toMap(this.pattern.points[2 * vertex], this.pattern.points[2 * vertex + 1]),
          ),
        );
        return { edge, line, length: lengthOf(line) };
      })
      .sort((one, other) => other.length - one.length)
      .map(({ edge, line, length }) => [edge.title, spotsBeside(line, length, edge.title)]);
  }

  freeNames() {
    return this.pattern.free.map((item) => {
      const points = [];
      for (let i = 0; i < item.points.length; i += 2) {
        points.push(this.toScreen(this.pattern.toMap(item.points[i], item.points[i + 1])));
      }
      const [x, y] = [0, 1].map((k) => points.reduce((sum, at) => sum + at[k], 0) / points.length);
      const high = Math.max(...points.map((at) => at[1])) - y;
      return [
        item.name,
        [
          [x, y + high + NAME_OFF_PX],
          [x, y - high - NAME_OFF_PX],
        ],
      ];
    });
  }

  isIn([left, top, right, bottom]) {
    const { clientWidth, clientHeight } = this.picture;
    return left >= 0 && top >= 0 && right <= clientWidth && bottom <= clientHeight;
  }
}

function unit(x, y) {
  const length = Math.hypot(x, y) || 1;
  return [x / length, y / length];
}

function lengthOf(line) {
  let length = 0;
  for (let i = 1; i < line.length; i++) {
    length += Math.hypot(line[i][0] - line[i - 1][0], line[i][1] - line[i - 1][1]);
  }
  return length;
}

// Places for a name along an edge: at its middle, then on either side of that; inside the film, which
// lies on the left of an edge in the flat and so on its left on the map too.
function spotsBeside(line, length, text) {
  const spots = [];
  for (const share of [0.5, 0.35, 0.65, 0.2, 0.8]) {
    let left = share * length;
    for (let i = 1; i < line.length; i++) {
      const [from, to] = [line[i - 1], line[i]];
      const step = Math.hypot(to[0] - from[0], to[1] - from[1]);
      if (left <= step && step > 0) {
        const [dx, dy] = [(to[0] - from[0]) / step, (to[1] - from[1]) / step];
        // A name is wider than high: beside a standing edge it stands farther off.
        const off = NAME_OFF_PX + Math.abs(dy) * (LETTER * NAME_PX * text.length) * 0.5;
        const [x, y] = [from[0] + left * dx, from[1] + left * dy];
        spots.push([x + off * dy, y - off * dx]);
        break;
      }
      left -= step;
    }
  }
  return spots;
}

function overlap(one, other) {
  return one[0] < other[2] && other[0] < one[2] && one[1] < other[3] && other[1] < one[3];
}
