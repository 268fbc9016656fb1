// Marks over a picture, drawn in pixels of the screen: numbered rings for the strained places, a
// cross for the place that is looked at, aligned with how the film is pulled there.

const SVG = "http://www.w3.org/2000/svg";
const RING = 11;
const TAG_LETTER = 9;
const ARM = 30;
const INNER = 9;
const HEAD = 6;
const WORDS_PX = 90;
const LEAST_ABOVE = 36;

export function element(name, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
}

// A numbered ring at (x, y); a lozenge where it is beyond a limit.
export function ring(number, isBeyond) {
  const shape = isBeyond
    ? element("path", { d: `M0 ${-RING - 3}L${RING + 3} 0L0 ${RING + 3}L${-RING - 3} 0Z` })
    : element("circle", { r: RING });
  const text = element("text", { y: 5, "text-anchor": "middle" });
  text.textContent = number;
  return element("g", { class: `fit-ring${isBeyond ? " beyond" : ""}` }, shape, text);
}

// A name on a line or in a zone; white on dark where it is taken.
export function tag(name, isTaken) {
  const wide = TAG_LETTER * name.length + 12;
  const shape = element("rect", { x: -wide / 2, y: -RING, width: wide, height: 2 * RING, rx: 3 });
  const text = element("text", { y: 5, "text-anchor": "middle" });
  text.textContent = name;
  return element("g", { class: `fit-ring fit-tag${isTaken ? " beyond" : ""}` }, shape, text);
}

// Places of rings on the screen; one that would cover an earlier one stands beside it.
export function apart(spots) {
  const placed = [];
  for (const [x, y] of spots) {
    const covers = (other) => Math.hypot(other[0] - x, other[1] - y) < RING;
    placed.push(placed.some(covers) ? [x + 2 * RING + 6, y] : [x, y]);
  }
  return placed;
}

// The cross: arms along and across, with heads apart where the film is stretched and together where
// it is compressed.
export class Cross {
  constructor() {
    this.arms = element("path", { class: "cross-arms" });
    this.casing = element("path", { class: "cross-casing" });
    this.dot = element("circle", { class: "cross-dot", r: 4 });
    this.hole = element("circle", { class: "cross-ring", r: INNER });
    this.words = element("text", { class: "cross-words" });
    this.group = element(
      "g",
      { class: "fit-cross" },
      this.casing,
      this.hole,
      this.arms,
      this.dot,
      this.words,
    );
    this.group.setAttribute("visibility", "hidden");
  }

  // `along` and `across` are unit vectors of the screen; the values say which way the heads point.
  show(at, { along, across, stretch, crossways, words, isPinned, isBehind, wide }) {
    const path = arm(along, stretch) + arm(across, crossways);
    this.arms.setAttribute("d", path);
    this.casing.setAttribute("d", path);
    this.words.textContent = isPinned ? words : "";
    // The number stands on the side where there is room for it.
    const isLeft = at[0] > wide - WORDS_PX;
    this.words.setAttribute("text-anchor", isLeft ? "end" : "start");
    this.words.setAttribute("x", isLeft ? -14 : 14);
    this.words.setAttribute("y", at[1] < LEAST_ABOVE ? 28 : -16);
    this.group.setAttribute("class", crossClass(isPinned, isBehind));
    this.group.setAttribute("transform", `translate(${at[0].toFixed(2)} ${at[1].toFixed(2)})`);
    this.group.setAttribute("visibility", "visible");
  }

  hide() {
    this.group.setAttribute("visibility", "hidden");
  }
}

function crossClass(isPinned, isBehind) {
  return ["fit-cross", isPinned ? "pinned" : "", isBehind ? "behind" : ""].filter(Boolean).join(" ");
}

function arm([x, y], value) {
  const outward = value >= 0;
  let path = "";
  for (const side of [-1, 1]) {
    const at = (along, sideways) =>
      `${(side * along * x - sideways * y).toFixed(1)} ${(side * along * y + sideways * x).toFixed(1)}`;
    path += `M${at(INNER, 0)}L${at(ARM, 0)}`;
    const [tip, back] = outward ? [ARM, ARM - HEAD] : [INNER + 2, INNER + 2 + HEAD];
    path += `M${at(back, -HEAD * 0.7)}L${at(tip, 0)}L${at(back, HEAD * 0.7)}`;
  }
  return path;
}

// A cross for each mark that there is; the others are put away.
export function drawCrosses(crosses, marks, draw) {
  for (const [kind, cross] of Object.entries(crosses)) {
    const mark = marks[kind];
    if (mark) {
      draw(cross, mark);
    } else {
      cross.hide();
    }
  }
}
