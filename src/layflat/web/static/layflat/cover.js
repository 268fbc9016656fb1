// Choosing a cover: a tap on the body covers a panel or opens it; a line is drawn point by point. What is
// chosen stands on the sheet (`data-shown`), which every answer brings anew; the body follows it.
import { Drawing } from "./cover-drawing.js";

const viewer = document.getElementById("body");
const page = document.getElementById("tap");
const traced = new Map();
let drawing = null;
let waits = Promise.resolve();
let shows = 0;

const sheet = () => document.getElementById("sheet");
const shown = () => JSON.parse(sheet().dataset.shown);
const mayChange = () => sheet().dataset.may === "yes";
const send = (name, detail) => viewer.dispatchEvent(new CustomEvent(name, { detail }));

// One after another, so that each answer is drawn before the next tap is judged by it.
function ask(method, address, values = {}) {
  const target = { target: "#sheet", swap: "outerHTML", values };
  waits = waits.then(() => window.htmx.ajax(method, address, target)).catch(() => {});
  return waits;
}

function change(values) {
  return ask("POST", page.dataset.change, { ...values, csrfmiddlewaretoken: token() });
}

function token() {
  return page.elements.csrfmiddlewaretoken.value;
}

function open(panel) {
  const address = panel ? `?panel=${encodeURIComponent(panel)}` : location.pathname;
  history.replaceState(null, "", address);
  return ask("GET", page.dataset.choose, panel ? { panel } : {});
}

function tap({ panel }) {
  if (!panel) {
    return;
  }
  const { seen, whole, parts: lined } = shown();
  const isCovered = whole.includes(panel) || lined.some((part) => part.panel === panel);
  if (mayChange() && !isCovered) {
    history.replaceState(null, "", `?panel=${encodeURIComponent(panel)}`);
    change({ kind: "whole", panel, was: seen[panel] });
  } else {
    open(panel);
  }
}

viewer.addEventListener("surface-tap", (event) => {
  if (drawing) {
    drawing.tap(event.detail);
  } else {
    tap(event.detail);
  }
});

function draw({ draw: panel, title, was }) {
  drawing?.end();
  drawing = new Drawing({
    viewer,
    panel,
    title,
    address: page.dataset.trace,
    token: token(),
    done: (line, keep) => {
      drawing = null;
      if (line) {
        change({ kind: "line", panel, was, line: JSON.stringify(line), keep: JSON.stringify(keep) });
      } else {
        show();
      }
    },
  });
  show();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-draw]");
  if (button) {
    draw(button.dataset);
  }
});

async function partOf({ panel, of }) {
  const key = `${panel} ${of}`;
  if (!traced.has(key)) {
    const answer = await fetch(`${page.dataset.part}?panel=${encodeURIComponent(panel)}`);
    traced.set(key, answer.ok ? await answer.json() : {});
  }
  return { panel, ...traced.get(key) };
}

async function show() {
  const turn = ++shows;
  const { whole = [], parts, over = [] } = shown();
  // The panel that a line is drawn on is bare meanwhile, so that the new line is not taken for the old.
  const lined = (parts ?? []).filter((part) => part.panel !== drawing?.panel);
  send("viewer-select", whole.filter((panel) => panel !== drawing?.panel));
  send("viewer-point", sheet().dataset.open);
  const found = (await Promise.all(lined.map(partOf))).filter((part) => part.positions);
  if (turn !== shows) {
    return;
  }
  send("viewer-cover", { parts: found, over });
  if (!drawing) {
    send("viewer-lines", found.map((part) => part.line));
  }
}

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target?.id === "sheet" || event.target.id === "sheet") {
    show();
  }
});
viewer.addEventListener("viewer-ready", show);

// A tap that did not reach the server is not kept; that must not go unsaid.
function sayLost(words) {
  const list = document.createElement("ul");
  list.className = "said";
  const item = document.createElement("li");
  item.className = "error";
  item.textContent = words;
  list.append(item);
  document.getElementById("said").replaceChildren(list);
}

document.addEventListener("htmx:sendError", () => {
  sayLost("The server does not answer. The last tap is not kept; try it again.");
});
document.addEventListener("htmx:responseError", () => {
  sayLost("The last tap is not kept: the server could not take it. Load the page again.");
});
