// What stands round the picture: views to choose, and the panels as a list for keys and readers.

export const VIEWS = [
  ["corner", "Corner"],
  ["front", "Front"],
  ["left", "Left"],
  ["right", "Right"],
  ["rear", "Rear"],
  ["above", "Above"],
];
const NEARER = 0.8;

export function viewButtons(viewer) {
  const group = groupOf("viewer-views", "View");
  for (const [view, word] of VIEWS) {
    group.append(button(word, () => viewer.camera.look(view)));
  }
  const nearer = button("+", () => viewer.camera.nearer(NEARER));
  nearer.setAttribute("aria-label", "Nearer");
  const farther = button("−", () => viewer.camera.nearer(1 / NEARER));
  farther.setAttribute("aria-label", "Farther");
  group.append(nearer, farther);
  return group;
}

export function panelList(viewer) {
  const group = groupOf("viewer-panels", "Panels");
  for (const panel of viewer.panels) {
    const made = button(panel.title, () => viewer.tell(...panel.middle, panel.name));
    made.dataset.panel = panel.name;
    made.addEventListener("focus", () => viewer.point(panel.name));
    made.addEventListener("blur", () => viewer.point(""));
    made.addEventListener("pointerenter", () => viewer.point(panel.name));
    made.addEventListener("pointerleave", () => viewer.point(""));
    group.append(made);
  }
  return group;
}

function groupOf(name, label) {
  const group = document.createElement("div");
  group.className = name;
  group.setAttribute("role", "group");
  group.setAttribute("aria-label", label);
  return group;
}

function button(word, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.textContent = word;
  made.addEventListener("click", act);
  return made;
}
