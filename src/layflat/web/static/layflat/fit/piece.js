// The page of one piece: the panel in 3D and the flat pattern show the same place; tapped, it stays,
// and its numbers are said.
//
// The page fires on #fit, bubbling, whenever a place is pinned:
//   fit-place {face, weights, flat: [x, y], point: [x, y, z]}   in millimetres of flat and body
import { drawnOf, leadByHand } from "./drawn.js";
import { FlatMap } from "./map.js";
import { Pattern } from "./pattern.js";
import { PanelView } from "./surface.js";
import { edgeWords, lengthWords, limitWords, perCent, strainWords } from "./words.js";

// A point so far from the film, in parts of the map's width, is beside it.
const BESIDE = 0.02;
const SCALE_WIDE = 400;

const page = document.getElementById("fit");
const numbers = document.getElementById("numbers");
const list = document.getElementById("places");
const pointers = document.querySelector(".scale-pointers");
let pattern = null;
let map = null;
let view = null;
let pinned = null;

async function open() {
  const { flat, surface, name } = page.dataset;
  try {
    const answer = await fetch(flat);
    if (!answer.ok) {
      throw new Error(`${flat}: ${answer.status}`);
    }
    pattern = new Pattern(await answer.json());
  } catch (error) {
    document.querySelector("#surface .viewer-says").textContent =
      "The piece could not be loaded; load the page again.";
    console.warn("fit:", error.message);
    return;
  }
  const drawn = drawnOf(page);
  map = new FlatMap(document.getElementById("flat"), pattern, {
    map: page.dataset.map,
    name,
    drawn,
    tell: (x, y, isPinned) => pointFlat(x, y, isPinned),
  });
  listPlaces();
  const stage = document.getElementById("surface");
  const says = stage.querySelector(".viewer-says");
  try {
    view = new PanelView(stage, pattern, {
      glb: surface,
      name,
      drawn,
      tell: (place, isPinned) => point(place, isPinned),
    });
  } catch {
    says.textContent = "This browser cannot show the panel in 3D; the flat pattern beside it can be tapped.";
    return;
  }
  try {
    await view.open();
  } catch (error) {
    view = null;
    says.textContent = "The panel could not be loaded; load the page again.";
    console.warn("fit:", error.message);
  }
  if (view) {
    // Edges on the panel's own paint are lines and cuts themselves.
    leadByHand(page, (flat) => view.edgePoint(flat, "inner"));
  }
  if (pinned) {
    show(pinned);
  }
  page.dataset.ready = "yes";
}

function pointFlat(x, y, isPinned) {
  if (x === null) {
    point(null, isPinned);
    return;
  }
  const place = pattern.placeAt(x, y);
  const [a, b] = pattern.map.to_map;
  const most = (BESIDE * pattern.map.width_mm) / Math.hypot(a, b);
  // Keys may run along the rim; a tap beside the film means nothing.
  point(place.off <= most ? place : isPinned ? undefined : null, isPinned, true);
}

// Shows a place on both; null means that nothing is pointed at, undefined changes nothing.
function point(place, isPinned, isJump = false) {
  if (place === undefined) {
    return;
  }
  if (place === null) {
    if (!isPinned) {
      show(null);
    }
    return;
  }
  const mark = { ...marked(place), isPinned, isJump };
  if (isPinned) {
    pinned = mark;
    say(mark);
  }
  show(mark);
  if (isPinned) {
    const there = view?.position ? view.pointOf(place).toArray() : null;
    const detail = { face: place.face, weights: place.weights, flat: mark.flat, point: there };
    page.dispatchEvent(new CustomEvent("fit-place", { detail, bubbles: true }));
  }
}

function marked(place) {
  const stretch = pattern.stretch[place.face];
  const compression = pattern.compression[place.face];
  const { limits } = pattern;
  const isStretch = stretch / limits.stretch >= compression / limits.compression;
  return {
    place,
    flat: pattern.flatOf(place),
    angle: (pattern.direction[place.face] * Math.PI) / 180,
    stretch,
    compression,
    words: isStretch ? `+${perCent(stretch)}` : `−${perCent(compression)}`,
  };
}

function show(mark) {
  map.show(mark);
  view?.show(mark);
  showOnScale(mark ?? pinned);
}

function showOnScale(mark) {
  pointers.replaceChildren();
  if (!mark) {
    return;
  }
  const { limits } = pattern;
  const at = (value, limit) => Math.min(Math.max((0.5 * value) / limit, -1), 1);
  const places = [
    at(mark.stretch, mark.stretch >= 0 ? limits.stretch : limits.compression),
    at(-mark.compression, mark.compression > 0 ? limits.compression : limits.stretch),
  ];
  const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  picture.setAttribute("viewBox", `-6 0 ${SCALE_WIDE + 12} 12`);
  for (const place of places) {
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("d", `M${((place + 1) / 2) * SCALE_WIDE} 0l6 11h-12z`);
    picture.append(path);
  }
  pointers.append(picture);
}

function say(mark) {
  const { stretch, compression, flat } = mark;
  const { state, words } = limitWords(stretch, compression, pattern.limits);
  const nearest = pattern.nearestEdge(...flat);
  const rows = [
    ["Along", strainWords(stretch)],
    ["Across", strainWords(-compression)],
  ];
  if (nearest) {
    const distance = lengthWords(nearest.distance, page.dataset.inches);
    rows.push(["Nearest edge", `${distance} from the ${edgeWords(nearest.edge)}`]);
  }
  const facts = document.createElement("dl");
  facts.className = "facts";
  for (const [term, fact] of rows) {
    facts.append(textIn("dt", term), textIn("dd", fact));
  }
  const verdict = textIn("p", words);
  verdict.className = `fit-limit ${state}`;
  numbers.replaceChildren(facts, verdict);
  numbers.parentElement.classList.add("has-mark");
}

function textIn(name, text) {
  const made = document.createElement(name);
  made.textContent = text;
  return made;
}

// The list stands below the pictures: whoever jumps from it wants to see both.
function bringBack() {
  const first = page.querySelector(".fit-on-car");
  if (first.getBoundingClientRect().top < 0) {
    first.scrollIntoView({ block: "start" });
  }
}

// The places that are strained most, each to be jumped to.
function listPlaces() {
  document.getElementById("no-places").hidden = pattern.places.length > 0;
  pattern.places.forEach((place, i) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    const number = textIn("span", i + 1);
    number.className = place.is_beyond ? "place-number beyond" : "place-number";
    button.append(number, textIn("span", place.sentence));
    button.addEventListener("click", () => {
      point(pattern.middleOf(place.face), true, true);
      bringBack();
    });
    item.append(button);
    list.append(item);
  });
  const said = new Set(pattern.places.map((place) => place.sentence));
  for (const warning of document.querySelectorAll(".fit-warnings li")) {
    // What the list says, with a way to the place, need not be said twice.
    if (said.has(warning.textContent) || "map" in warning.dataset) {
      warning.remove();
    }
  }
}

if (page) {
  open();
}
