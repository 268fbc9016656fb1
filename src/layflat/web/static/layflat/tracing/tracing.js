// A template's flat picture: taps on it become the places that a person puts right.
const SVG = "http://www.w3.org/2000/svg";
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const map = document.getElementById("map");
const form = document.getElementById("right");
const field = document.getElementById("points");
const clear = document.getElementById("clear");
const unit = Number(map.dataset.unit);
let places = [];

function show() {
  for (const old of map.querySelectorAll(".tapped")) {
    old.remove();
  }
  for (const [x, y] of places) {
    const dot = document.createElementNS(SVG, "circle");
    dot.setAttribute("class", "tapped");
    dot.setAttribute("cx", x);
    dot.setAttribute("cy", -y);
    dot.setAttribute("r", 0.7 * unit);
    map.append(dot);
  }
  field.value = places.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("; ");
  clear.hidden = places.length === 0;
}

// The line runs through several places; everything else is said of one.
function add(place) {
  const several = form.elements.kind.value === "through";
  places = several ? [...places, place] : [place];
  show();
}

map.addEventListener("click", (event) => {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
    map.getScreenCTM().inverse(),
  );
  add([at.x, -at.y]);
});
map.addEventListener("keydown", (event) => {
  const way = KEYS[event.key];
  const box = map.viewBox.baseVal;
  if (event.key === "Enter" && places.length > 0) {
    event.preventDefault();
    add(places.at(-1));
  } else if (way && !event.ctrlKey && !event.altKey && !event.metaKey) {
    event.preventDefault();
    const step = event.shiftKey ? 20 : 2;
    const from = places.at(-1) ?? [box.x + box.width / 2, -(box.y + box.height / 2)];
    places = [...places.slice(0, -1), [from[0] + way[0] * step, from[1] + way[1] * step]];
    show();
  }
});
form.addEventListener("change", (event) => {
  if (event.target.name === "kind" && form.elements.kind.value !== "through") {
    places = places.slice(-1);
    show();
  }
});
clear.addEventListener("click", () => {
  places = [];
  show();
});
map.setAttribute("role", "application");
map.setAttribute(
  "aria-label",
  "The flat picture. Tap a place; arrow keys move the last one, with Shift farther; Enter adds another.",
);
