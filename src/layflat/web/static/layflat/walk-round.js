// The walk-round: a tap on the drawing or on the body in 3D gives the form its place.
const SVG = "http://www.w3.org/2000/svg";
const MAST = -300;

const form = document.getElementById("fault-form");
const viewer = document.getElementById("viewer");
const says = document.getElementById("place");
const drawn = document.querySelectorAll(".view");
const noted = JSON.parse(viewer?.dataset.marks ?? "[]");

function fill(values) {
  for (const name of ["view", "across", "along", "x", "y", "z"]) {
    form.elements[name].value = values[name] ?? "";
  }
}

function choosePanel(panel) {
  const list = form.elements.panel;
  if (panel && ![...list.options].some((option) => option.value === panel)) {
    list.add(new Option(panel, panel));
  }
  list.value = panel;
}

// As people read it, which the list of panels knows.
function titleOf(panel) {
  const known = [...form.elements.panel.options].find((option) => option.value === panel);
  return known?.text ?? panel;
}

function tell(where) {
  says.textContent = where;
  form.scrollIntoView({ block: "nearest", behavior: "smooth" });
}

function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    made.setAttribute(key, value);
  }
  return made;
}

function showWanted(view, x, y) {
  for (const old of document.querySelectorAll(".mark.wanted, .panel.tapped")) {
    if (old.matches(".mark")) {
      old.remove();
    } else {
      old.classList.remove("tapped");
    }
  }
  if (!view) {
    return;
  }
  const mark = element("g", { class: "mark wanted", transform: `translate(${x} ${y})` });
  const pen = element("g", { class: "pen" });
  pen.append(element("path", { class: "mast", d: `M0 0V${MAST}` }));
  pen.append(element("path", { class: "flag", d: `M0 ${MAST}h190l-40 60 40 60H0z` }));
  mark.append(pen);
  view.append(mark);
}

function tapDrawing(event) {
  const view = event.currentTarget;
  const box = view.viewBox.baseVal;
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
    view.getScreenCTM().inverse(),
  );
  const across = Math.min(1, Math.max(0, at.x / box.width));
  const along = Math.min(1, Math.max(0, at.y / box.height));
  const shape = event.target.closest("[data-panel]");
  fill({ view: view.dataset.view, across: across.toFixed(5), along: along.toFixed(5) });
  choosePanel(shape?.dataset.panel ?? "");
  showWanted(view, across * box.width, along * box.height);
  shape?.classList.add("tapped");
  showOnBody(null);
  tell(shape ? `Marked on: ${titleOf(shape.dataset.panel)}` : `Marked on the view from ${view.dataset.view}`);
}

function showOnBody(wanted) {
  const marks = wanted ? [...noted, { ...wanted, label: "new", kind: "new" }] : noted;
  viewer?.dispatchEvent(new CustomEvent("viewer-mark", { detail: marks }));
}

function tapBody(event) {
  const { x, y, z, panel } = event.detail;
  fill({ x: x.toFixed(1), y: y.toFixed(1), z: z.toFixed(1) });
  choosePanel(panel);
  showWanted(null);
  showOnBody({ x, y, z });
  tell(panel ? `Marked on: ${titleOf(panel)}` : "Marked on the body, off its panels");
}

if (form) {
  for (const view of drawn) {
    view.addEventListener("click", tapDrawing);
    if (form.elements.view.value === view.dataset.view && form.elements.across.value) {
      const box = view.viewBox.baseVal;
      const { across, along } = form.elements;
      showWanted(view, across.value * box.width, along.value * box.height);
    }
  }
  viewer?.addEventListener("surface-tap", tapBody);
  form.elements.panel.addEventListener("change", (event) => {
    says.textContent = event.target.value
      ? `Panel: ${event.target.value}`
      : "Tap its place on the vehicle, or choose the panel.";
  });
  form.elements.photo.addEventListener("change", (event) => {
    const file = event.target.files[0];
    document.getElementById("photo-says").textContent = file
      ? `Picture taken: ${file.name}`
      : "Take a picture";
  });
}
