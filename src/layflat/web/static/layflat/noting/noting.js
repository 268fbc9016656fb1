// The tab "Fit": a tap on a flat picture gives a fit note its piece and place.
import { Place } from "../inspection/place.js";

const SVG = "http://www.w3.org/2000/svg";
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const STEP = 4;
const FAR = 8;
const PICTURES = ".note-map[data-to-map]";

const page = document.documentElement;
const formNow = () => document.getElementById("note-form");
const pictures = () => [...document.querySelectorAll(PICTURES)];
const isNarrow = () => matchMedia("(max-width: 63.99rem)").matches;

// What is marked until it is noted: the piece's film and a flat point.
let wanted = null;
let cameFrom = null;

function say(text) {
  document.getElementById("note-place").textContent = text;
}

function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    made.setAttribute(key, value);
  }
  return made;
}

function show() {
  for (const old of document.querySelectorAll(".note-mark.wanted")) {
    old.remove();
  }
  const picture = wanted && pictures().find((one) => one.dataset.cut === wanted.cut);
  if (!picture) {
    return;
  }
  const [x, y] = new Place(picture).toMap(wanted.x, wanted.y);
  const mark = element("g", {
    class: "note-mark wanted",
    transform: `translate(${x.toFixed(1)} ${y.toFixed(1)}) scale(${picture.dataset.pen})`,
  });
  mark.append(element("circle", { r: 11 }), element("path", { d: "M-18 0H18M0 -18V18" }));
  picture.append(mark);
}

function putAway() {
  page.dataset.notes = "put away";
  if (isNarrow() && formNow().contains(document.activeElement)) {
    cameFrom?.focus({ preventScroll: true });
  }
}

function open({ focus }) {
  cameFrom = document.activeElement;
  page.dataset.notes = "open";
  document.getElementById("note-close").hidden = false;
  if (focus) {
    formNow().querySelector("[name=fit]").focus({ preventScroll: true });
  }
}

// The place that was tapped stays above the form.
function keepInSight(picture) {
  const spot = picture.querySelector(".wanted") ?? picture;
  const side = document.querySelector(".note-side");
  if (isNarrow()) {
    const over = spot.getBoundingClientRect().bottom - side.getBoundingClientRect().top;
    if (over > 0) {
      scrollBy({ top: over + 24 });
    }
  }
}

function mark(picture, x, y, { stays = false } = {}) {
  const form = formNow();
  wanted = { cut: picture.dataset.cut, x, y };
  form.elements.cut.value = wanted.cut;
  form.elements.x_mm.value = x.toFixed(1);
  form.elements.y_mm.value = y.toFixed(1);
  say(`Marked on ${picture.dataset.name}.`);
  show();
  if (!stays) {
    open({ focus: false });
    keepInSight(picture);
  }
}

function tapped(event) {
  const picture = event.target.closest?.(PICTURES);
  if (picture) {
    mark(picture, ...new Place(picture).flatAt(event));
  } else if (event.target.id === "note-close") {
    putAway();
  }
}

function key(event) {
  if (event.key === "Escape" && formNow()?.contains(event.target)) {
    putAway();
    return;
  }
  const picture = event.target.closest?.(PICTURES);
  const way = KEYS[event.key];
  if (picture && event.key === "Enter") {
    event.preventDefault();
    open({ focus: true });
    return;
  }
  if (!picture || !way || event.ctrlKey || event.altKey || event.metaKey) {
    return;
  }
  event.preventDefault();
  const place = new Place(picture);
  const isHere = wanted?.cut === picture.dataset.cut;
  const from = isHere ? place.toMap(wanted.x, wanted.y) : place.middle();
  const step = place.pen * STEP * (event.shiftKey ? FAR : 1);
  const to = place.within(from[0] + way[0] * step, from[1] + way[1] * step);
  mark(picture, ...place.fromMap(...to), { stays: true });
}

// A kind shows the measures that it needs.
function measures() {
  const chosen = formNow().querySelector("[name=fit]:checked");
  const { says = "", first = "", second = "", stretch = "" } = chosen?.dataset ?? {};
  document.getElementById("note-says").textContent = says;
  for (const [name, word] of [
    ["first", first],
    ["second", second],
  ]) {
    document.getElementById(`note-${name}-field`).hidden = word === "";
    document.getElementById(`note-${name}-word`).textContent = word;
    const field = document.getElementById(`note-${name}`);
    field.required = word !== "";
    field.disabled = word === "";
  }
  const along = document.getElementById("note-along");
  document.getElementById("note-along-field").hidden = stretch === "";
  along.required = stretch === "needed";
  along.disabled = stretch === "";
}

function forget() {
  wanted = null;
  for (const name of ["cut", "x_mm", "y_mm"]) {
    formNow().elements[name].value = "";
  }
  say("Tap the place on a flat picture.");
  measures();
  show();
  putAway();
}

// With this script a picture can be tapped, and reached by key.
function arrange() {
  if (!formNow()) {
    return;
  }
  for (const picture of pictures()) {
    picture.setAttribute("role", "application");
    const label = `Flat picture of ${picture.dataset.name}. Tap the place; arrow keys move the mark, with Shift farther; Enter goes to the form.`;
    picture.setAttribute("aria-label", label);
  }
  measures();
  show();
}

document.addEventListener("click", tapped);
document.addEventListener("keydown", key);
document.addEventListener("change", (event) => {
  if (event.target.name === "fit" && event.target.form === formNow()) {
    measures();
  }
});
document.addEventListener("submit", (event) => {
  if (event.target === formNow() && !wanted) {
    event.preventDefault();
    event.stopImmediatePropagation();
    say("Tap the place on a flat picture first.");
  }
}, true);
document.addEventListener("reset", (event) => {
  if (event.target === formNow()) {
    // The fields are emptied after this event.
    setTimeout(forget);
  }
});
document.addEventListener("layflat:refreshed", arrange);
page.dataset.notes = "put away";
arrange();
