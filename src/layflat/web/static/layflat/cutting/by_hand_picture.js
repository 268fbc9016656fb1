// The roll as pieces are arranged on it: where they lie, which is chosen, what is pinned, what is wrong.

import { element, Roll } from "./roll.js";

const MARK_PX = 9;
const PIN_PX = 13;
const CLOSE_PART = 0.35;
const CLOSE_MM = 250;

export class Picture {
  /**
   * @param svg the roll's picture
   * @param shapes by number: x and y of where its number stands
   * @param film see the judge
   */
  constructor(svg, shapes, film) {
    this.svg = svg;
    this.shapes = shapes;
    this.film = film;
    this.roll = new Roll(svg);
    this.paths = new Map();
    for (const path of svg.querySelectorAll("[data-piece]")) {
      this.paths.set(Number(path.dataset.piece), path);
    }
    this.lines = svg.querySelector("[data-lines]");
    this.isClose = false;
    this.whole = svg.getAttribute("viewBox");
    this.closeTo = null;
    this.marks = [];
    this.roll.upright.addEventListener("change", () => this.view());
    new ResizeObserver(() => this.draw()).observe(svg);
  }

  get isUpright() {
    return this.roll.upright.matches;
  }

  /** The outlines themselves instead of coarse ones. */
  refine(outlines) {
    for (const [number, path] of this.paths) {
      const rings = outlines[number].map((ring) => {
        const points = [];
        for (let i = 0; i < ring.length; i += 2) {
          points.push(`${ring[i]},${ring[i + 1]}`);
        }
        return `M${points.join("L")}Z`;
      });
      path.setAttribute("d", rings.join(""));
    }
  }

  /** Where on the roll a place of the screen is: along and across, in mm. */
  rollPlace(clientX, clientY) {
    const point = new DOMPoint(clientX, clientY).matrixTransform(
      this.roll.lay.getScreenCTM().inverse(),
    );
    return [point.x, this.film.width - point.y];
  }

  /** Which way on the roll a way on the screen is. */
  rollWay(name) {
    const ways = { left: [-1, 0], right: [1, 0], up: [0, 1], down: [0, -1] };
    const [x, y] = ways[name];
    return this.isUpright ? [-y, x] : [x, y];
  }

  place({ piece, turn, x, y }) {
    const angle = (turn * Math.PI) / 180;
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const { width } = this.film;
    const lie = `matrix(${cos} ${-sin} ${-sin} ${-cos} ${x} ${width - y})`;
    this.paths.get(piece).setAttribute("transform", lie);
    const [along, across] = this.numberPlace({ piece, turn, x, y });
    this.roll.put(this.svg.querySelector(`[data-number="${piece}"]`), along, width - across);
  }

  numberPlace({ piece, turn, x, y }) {
    const angle = (turn * Math.PI) / 180;
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const shape = this.shapes[piece];
    return [x + cos * shape.x - sin * shape.y, y + sin * shape.x + cos * shape.y];
  }

  choose(piece, box) {
    for (const [number, path] of this.paths) {
      path.classList.toggle("is-chosen", number === piece);
    }
    // What is chosen lies above the others, so that all of its outline is seen. A finger would lose
    // hold of it if it were put there again.
    const path = this.paths.get(piece);
    if (path.parentNode.lastElementChild !== path) {
      path.parentNode.append(path);
    }
    this.closeTo = box;
    if (this.isClose) {
      this.view();
    }
  }

  close(isClose) {
    this.isClose = isClose;
    this.view();
  }

  /** The whole roll, or close up about what is chosen; as large on the page either way. */
  view() {
    this.roll.draw();
    this.whole = this.svg.getAttribute("viewBox");
    if (this.isClose && this.closeTo !== null) {
      const [x0, y0, x1, y1] = this.closeTo;
      const more = Math.max(CLOSE_MM, CLOSE_PART * Math.max(x1 - x0, y1 - y0));
      const [, , wide, high] = this.whole.split(" ").map(Number);
      const { width } = this.film;
      let box = [x0 - more, width - y1 - more, x1 - x0 + 2 * more, y1 - y0 + 2 * more];
      if (this.isUpright) {
        box = [y0 - more, x0 - more, y1 - y0 + 2 * more, x1 - x0 + 2 * more];
      }
      const part = Math.max(box[2] / wide, box[3] / high);
      const middle = [box[0] + box[2] / 2, box[1] + box[3] / 2];
      const view = [middle[0] - (part * wide) / 2, middle[1] - (part * high) / 2, part * wide, part * high];
      this.svg.setAttribute("viewBox", view.join(" "));
    }
    this.roll.letters();
    this.draw();
  }

  /**
   * What is to be seen beside the pieces.
   *
   * @param seen {sections, length, before, findings: [{at, pieces, label}], pinned: [lie]}
   */
  show(seen) {
    this.seen = seen;
    const wrong = new Set(seen.findings.flatMap(({ pieces }) => pieces));
    for (const [number, path] of this.paths) {
      path.classList.toggle("is-wrong", wrong.has(number));
      path.classList.toggle(
        "is-pinned",
        seen.pinned.some(({ piece }) => piece === number),
      );
    }
    this.draw();
  }

  draw() {
    if (this.seen === undefined || this.roll.scale === 0) {
      return;
    }
    const { width } = this.film;
    const { sections, length, before, findings, pinned } = this.seen;
    const across = (x, name) => element("line", { class: name, x1: x, x2: x, y1: 0, y2: width });
    const ends = sections.slice(0, -1).map(([, end]) => across(end, "roll-section"));
    this.svg.querySelector("[data-sections]").replaceChildren(
      ...this.film.faults.map(([start, end]) =>
        element("rect", { class: "hand-fault", x: start, y: 0, width: end - start, height: width }),
      ),
      ...ends,
      across(before, "hand-before"),
      across(length, "hand-end"),
    );
    this.name(sections);
    const scale = this.roll.scale;
    const marks = findings.flatMap((finding) => this.markOf(finding, scale));
    this.lines.replaceChildren(...pinned.map((lie) => this.pinOf(lie, scale)), ...marks);
    this.label(findings.filter(({ at, label }) => at.length > 0 && label !== ""), scale);
  }

  /** Each section's name above it. */
  name(sections) {
    const { texts } = this.roll;
    for (const old of texts.querySelectorAll("[data-section]")) {
      old.remove();
    }
    sections.forEach(([start, end], index) => {
      const name = element("text", {
        class: "roll-name",
        dy: "-0.4em",
        "data-section": index + 1,
        "data-start": start,
      });
      name.textContent = `section ${index + 1}`;
      texts.append(name);
      this.roll.put(name, (start + end) / 2, 0);
    });
  }

  /** A lozenge on the place, or a ring about it where two pieces come too near. */
  markOf({ fault, at }, scale) {
    if (at.length === 0) {
      return [];
    }
    const x = at.reduce((sum, [along]) => sum + along, 0) / at.length;
    const y = this.film.width - at.reduce((sum, [, place]) => sum + place, 0) / at.length;
    const r = MARK_PX * scale;
    if (fault === "gap") {
      return [element("circle", { class: "hand-ring", cx: x, cy: y, r })];
    }
    const d = `M${x - r},${y}L${x},${y - r}L${x + r},${y}L${x},${y + r}Z`;
    return [element("path", { class: "hand-lozenge", d })];
  }

  /** A drop above the number, upright on the screen whichever way the roll is drawn. */
  pinOf(lie, scale) {
    const [along, place] = this.numberPlace(lie);
    const size = PIN_PX * scale;
    const turn = this.isUpright ? " rotate(-90)" : "";
    const drop = element("path", {
      class: "hand-pin",
      d: "M0,-0.75 C-0.45,-1.2 -0.4,-1.75 0,-1.75 C0.4,-1.75 0.45,-1.2 0,-0.75 Z",
      transform: `translate(${along} ${this.film.width - place})${turn} scale(${size})`,
    });
    return drop;
  }

  label(findings, scale) {
    for (const old of this.roll.texts.querySelectorAll("[data-mark]")) {
      old.remove();
    }
    for (const { at, label } of findings.slice(0, 12)) {
      const text = element("text", { class: "roll-name hand-label", "data-mark": "" });
      text.textContent = label;
      this.roll.texts.append(text);
      const [x, y] = at[0];
      // Beside its mark, on the screen's right or above it.
      const away = 2.2 * MARK_PX * scale;
      const [dx, dy] = this.isUpright ? [-away, 0] : [0, away];
      this.roll.put(text, x + dx, this.film.width - y - dy);
    }
    this.roll.letters();
  }
}
