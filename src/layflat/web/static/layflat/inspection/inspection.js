// The tab "Check": a tap on a flat picture, or on the vehicle in 3D, gives a flag its piece and place.
import { Place, draw, takeAway } from "./place.js";

const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const STEP = 6;
const FAR = 6;
const PICTURES = ".check-map[data-to-map]";

const formNow = () => document.getElementById("flag-form");
const pictures = () => [...document.querySelectorAll(PICTURES)];
const pictureOf = (cut) => pictures().find((picture) => picture.dataset.cut === cut);

// Where the screen is narrow the form comes over the pictures' lower part; see inspection.css.
const page = document.documentElement;
const isNarrow = () => matchMedia("(max-width: 63.99rem)").matches;
let cameFrom = null;

function open({ focus }) {
  cameFrom = document.activeElement;
  page.dataset.flags = "open";
  document.getElementById("flag-close").hidden = false;
  if (focus) {
    formNow().querySelector("[name=kind]").focus({ preventScroll: true });
  }
}

function putAway() {
  page.dataset.flags = "put away";
  if (isNarrow() && formNow().contains(document.activeElement)) {
    cameFrom?.focus({ preventScroll: true });
  }
}

// What is marked until the flag is noted: the piece's film and a flat point.
let wanted = null;

function say(text) {
  document.getElementById("flag-place").textContent = text;
}

function show() {
  takeAway();
  const picture = wanted && wanted.x !== null && pictureOf(wanted.cut);
  if (picture) {
    draw(picture, new Place(picture).toMap(wanted.x, wanted.y));
  }
}

// Marks a place, or only the piece where x is null.
function mark(cut, x, y, { title, stays = false }) {
  const form = formNow();
  wanted = { cut, x, y };
  form.elements.cut.value = cut;
  form.elements.x_mm.value = x === null ? "" : x.toFixed(1);
  form.elements.y_mm.value = y === null ? "" : y.toFixed(1);
  say(x === null ? `On ${title}; tap its place on the flat picture.` : `Marked on ${title}.`);
  show();
  if (!stays) {
    open({ focus: false });
    keepInSight(pictureOf(cut));
  }
}

// The place that was tapped stays above the form.
function keepInSight(picture) {
  const spot = picture?.querySelector(".wanted") ?? picture;
  const side = document.querySelector(".check-side");
  if (spot && isNarrow()) {
    const over = spot.getBoundingClientRect().bottom - side.getBoundingClientRect().top;
    if (over > 0) {
      scrollBy({ top: over + 24 });
    }
  }
}

function tapped(event) {
  const picture = event.target.closest?.(PICTURES);
  const link = event.target.closest?.(".check-flag");
  if (picture) {
    const { dataset } = picture;
    mark(dataset.cut, ...new Place(picture).flatAt(event), { title: dataset.name });
  } else if (event.target.id === "flag-close") {
    putAway();
  } else if (link) {
    event.preventDefault();
    const picture = pictureOf(link.dataset.cut);
    const isMarked = wanted?.cut === link.dataset.cut && wanted.x !== null;
    if (!isMarked) {
      const title = picture?.dataset.name ?? "the piece";
      mark(link.dataset.cut, null, null, { title, stays: true });
    }
    open({ focus: true });
  }
}

function key(event) {
  if (event.key === "Escape" && formNow().contains(event.target)) {
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
  const isHere = wanted?.cut === picture.dataset.cut && wanted.x !== null;
  const from = isHere ? place.toMap(wanted.x, wanted.y) : place.middle();
  const step = place.pen * STEP * (event.shiftKey ? FAR : 1);
  const to = place.within(from[0] + way[0] * step, from[1] + way[1] * step);
  const options = { title: picture.dataset.name, stays: true };
  mark(picture.dataset.cut, ...place.fromMap(...to), options);
}

// The kind proposes what is done, and may not wait unless it clears by itself.
function chosen(event) {
  const field = event.target;
  const form = formNow();
  if (form === null || field.form !== form) {
    return;
  }
  if (field.name === "kind") {
    const { remedy, says, caution } = field.dataset;
    form.querySelector(`[name=remedy][value=${remedy}]`).checked = true;
    form.querySelector("[name=remedy][value=wait]").disabled = !("mayWait" in field.dataset);
    const words = says.charAt(0).toUpperCase() + says.slice(1);
    document.getElementById("flag-says").textContent = [`${words}.`, caution].filter(Boolean).join(" ");
  } else if (field.name === "cut" && field.value !== wanted?.cut) {
    const title = field.selectedOptions[0].text;
    mark(field.value, null, null, { title, stays: true });
  }
}

function forget() {
  wanted = null;
  const form = formNow();
  form.elements.x_mm.value = "";
  form.elements.y_mm.value = "";
  form.querySelector("[name=remedy][value=wait]").disabled = false;
  say("Tap its place on a flat picture, or choose the piece.");
  document.getElementById("flag-says").textContent = "";
  show();
  putAway();
}

// With this script a picture can be tapped, and reached by key.
function arrange() {
  for (const picture of pictures()) {
    picture.setAttribute("role", "application");
    const name = picture.dataset.name;
    const label = `Flat picture of ${name}. Tap the place of a fault; arrow keys move the mark, with Shift farther; Enter goes to the form.`;
    picture.setAttribute("aria-label", label);
  }
  show();
}

async function openBody(event) {
  const fold = event.target;
  if (fold.id !== "check-3d" || !fold.open || fold.dataset.opened) {
    return;
  }
  fold.dataset.opened = "yes";
  const { openVehicle } = await import("./vehicle.js");
  openVehicle(fold, {
    stage: document.getElementById("check-stage"),
    pieces: [...document.querySelectorAll(".check-piece")],
    pieceOf: (panel) =>
      [...document.querySelectorAll(".check-piece")].find((one) => one.dataset.panel === panel),
    mark,
  });
}

if (document.getElementById("flag-form")) {
  document.addEventListener("click", tapped);
  document.addEventListener("keydown", key);
  document.addEventListener("change", chosen);
  document.addEventListener("toggle", openBody, true);
  document.addEventListener("reset", (event) => {
    if (event.target === formNow()) {
      // The fields are emptied after this event.
      setTimeout(forget);
    }
  });
  document.addEventListener("layflat:refreshed", arrange);
  page.dataset.flags = "put away";
  arrange();
}
