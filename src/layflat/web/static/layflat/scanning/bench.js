// The scan bench: picks on the scan, and panels traced point by point. Every step is kept by the
// server, which answers with how the work stands then.
import { Picks } from "./picks.js";
import { draftList, stepList } from "./drafts.js";

const byId = (id) => document.getElementById(id);
const viewer = byId("body");
const tap = byId("tap");
// Stands on the page that shows left against right; there is nothing to trace on it.
const worst = byId("worst");
const says = byId("says");
const SNAP_PX = 12;

const bench = {
  seen: Number(tap.dataset.seen),
  drafts: [],
  open: -1,
  node: -1,
  // What the next tap does: "" nothing, "point", "move" or "after".
  next: "",
  // The step that was asked last, and what comes of it; null once nothing is under way.
  last: null,
  mesh: null,
};
const token = () => tap.querySelector("[name=csrfmiddlewaretoken]").value;
const picks = new Picks({ viewer, address: tap.dataset.stand, token, seen: () => bench.seen, tell });

// Steps go one after another, so that quick taps are all taken; a glove that taps twice asks once.
function step(asked) {
  const words = JSON.stringify(asked);
  if (bench.last?.words === words) {
    return bench.last.over;
  }
  const mine = { words };
  const before = bench.last?.over ?? Promise.resolve(true);
  mine.over = before
    .then(() => ask(asked))
    .finally(() => {
      if (bench.last === mine) {
        bench.last = null;
      }
    });
  bench.last = mine;
  return mine.over;
}

async function ask(asked) {
  const answer = await fetch(tap.dataset.step, {
    method: "POST",
    headers: { "X-CSRFToken": token(), "Content-Type": "application/json" },
    body: JSON.stringify({ seen: bench.seen, ...asked }),
  }).catch(() => null);
  if (!answer || ![200, 400].includes(answer.status)) {
    tell("That did not go through; try it again.");
    return false;
  }
  take(await answer.json());
  return answer.ok;
}

function take(found) {
  // A step that changed how the scan stands shows another scan.
  if (bench.mesh !== null && found.mesh !== bench.mesh) {
    window.location.reload();
    return;
  }
  bench.mesh = found.mesh;
  bench.seen = found.seen;
  bench.drafts = found.drafts;
  byId("undo").disabled = !found.can_undo;
  byId("redo").disabled = !found.can_redo;
  const make = byId("make-button");
  if (make) {
    make.hidden = Boolean(found.lacks);
    byId("make-lacks").textContent = found.lacks;
  }
  for (const field of document.querySelectorAll("input[name=seen]")) {
    field.value = found.seen;
  }
  if (found.steps) {
    stepList(byId("bench-steps"), found.steps);
  }
  if (bench.open >= bench.drafts.length) {
    bench.open = -1;
  }
  const draft = bench.drafts[bench.open];
  if (!draft || bench.node >= draft.nodes.length) {
    bench.node = -1;
  }
  if (draft?.closed && bench.next === "point") {
    bench.next = "";
  }
  show();
  tell(found.refused || draft?.fault || "");
}

function show() {
  const draft = bench.drafts[bench.open];
  send("viewer-lines", bench.drafts.flatMap((item) => item.lines));
  send(
    "viewer-mark",
    (draft?.nodes ?? []).map(({ at: [x, y, z], corner }, i) => ({
      x,
      y,
      z,
      label: `${i + 1}${corner ? " ⌐" : ""}`,
      kind: i === bench.node ? "chosen" : "point",
      drags: true,
    })),
  );
  draftList({ place: byId("drafts"), bench, open: openDraft, step });
  const on = byId("keep-out-on");
  const chosen = on?.value;
  on?.replaceChildren(
    ...bench.drafts.filter((item) => !item.on).map((item) => new Option(item.name, item.name)),
  );
  if (chosen) {
    on.value = chosen;
  }
  showNode(draft);
}

function showNode(draft) {
  const node = draft?.nodes[bench.node];
  byId("node").hidden = !node;
  if (!node) {
    return;
  }
  byId("node-title").textContent = `Point ${bench.node + 1} of ${draft.name}`;
  byId("node-straight").setAttribute("aria-pressed", String(node.straight));
  byId("edge-corner").checked = node.corner;
  byId("edge-kind").value = node.kind;
  byId("edge-name").value = node.name;
  byId("node-edge").hidden = Boolean(draft.keep_out);
}

function openDraft(number) {
  bench.open = bench.open === number ? -1 : number;
  bench.node = -1;
  bench.next = bench.open >= 0 && !bench.drafts[bench.open].closed ? "point" : "";
  show();
  tell("");
}

function tell(sentence) {
  const taps = picks.isOn || bench.next !== "";
  viewer.classList.toggle("picks", taps);
  viewer.closest(".bench").classList.toggle("traces", picks.isOn || bench.open >= 0);
  byId("middle").hidden = !taps;
  byId("end").hidden = !taps;
  says.textContent = sentence || picks.words() || words();
}

function words() {
  const draft = bench.drafts[bench.open];
  if (worst) {
    return "Turn the scan, and look where left and right differ.";
  }
  if (!draft) {
    return "Turn the scan, or choose a panel to trace.";
  }
  if (bench.next === "move") {
    return `Tap where point ${bench.node + 1} of ${draft.name} goes.`;
  }
  if (bench.next === "after") {
    return `Tap where a point goes between ${bench.node + 1} and the next.`;
  }
  if (bench.next === "point") {
    const count = draft.nodes.length;
    return count < 3
      ? `Tap point ${count + 1} of ${draft.name}, near a crease, a gap or an open edge.`
      : `Tap point ${count + 1} of ${draft.name}, or close its outline in the list.`;
  }
  return `${draft.name}: choose a pennant to change its point, or drag it.`;
}

function send(name, detail) {
  viewer.dispatchEvent(new CustomEvent(name, { detail }));
}

function placed({ x, y, z, mm_per_px: size }) {
  return { at: [x, y, z], snap_mm: SNAP_PX * (size ?? 0.5) };
}

viewer.addEventListener("surface-tap", async (event) => {
  if (picks.isOn) {
    picks.take(event.detail);
    return;
  }
  const at = { draft: bench.open, ...placed(event.detail) };
  if (bench.next === "point") {
    await step({ act: "point", ...at });
  } else if (bench.next === "move") {
    bench.next = "";
    await step({ act: "move", node: bench.node, ...at });
  } else if (bench.next === "after") {
    bench.next = "";
    await step({ act: "point", after: bench.node, ...at });
  }
});
viewer.addEventListener("pennant-tap", (event) => {
  if (bench.open >= 0) {
    bench.node = Number.parseInt(event.detail.label, 10) - 1;
    show();
    tell("");
  }
});
viewer.addEventListener("pennant-drag", (event) => {
  if (bench.open >= 0) {
    bench.node = Number.parseInt(event.detail.label, 10) - 1;
    step({ act: "move", draft: bench.open, node: bench.node, ...placed(event.detail) });
  }
});

const on = (id, take) => byId(id)?.addEventListener("click", take);
on("undo", () => step({ act: "undo" }));
on("redo", () => step({ act: "redo" }));
on("middle", () => send("viewer-tap-middle", null));
on("end", () => {
  picks.end();
  bench.next = "";
  tell("");
});
on("node-move", () => next("move"));
on("node-after", () => next("after"));
on("node-remove", () => step({ act: "remove", draft: bench.open, node: bench.node }));
on("node-straight", () => {
  const straight = !bench.drafts[bench.open].nodes[bench.node].straight;
  step({ act: "straight", draft: bench.open, node: bench.node, straight });
});

function next(what) {
  bench.next = what;
  tell("");
  viewer.scrollIntoView({ block: "nearest" });
}

byId("node-edge")?.addEventListener("submit", (event) => {
  event.preventDefault();
  step({
    act: "edge",
    draft: bench.open,
    node: bench.node,
    corner: byId("edge-corner").checked,
    kind: byId("edge-kind").value,
    name: byId("edge-name").value,
  });
});

async function begin(event, name, more) {
  event.preventDefault();
  const count = bench.drafts.length;
  if (await step({ act: "begin", name: name.value, ...more })) {
    name.value = "";
    bench.open = -1;
    openDraft(count);
    viewer.scrollIntoView({ block: "nearest" });
  }
}
byId("new-draft")?.addEventListener("submit", (event) => begin(event, byId("draft-name"), {}));
byId("new-keep-out")?.addEventListener("submit", (event) =>
  begin(event, byId("keep-out-name"), {
    keep_out: byId("keep-out-kind").value,
    on: byId("keep-out-on").value,
  }),
);
for (const button of document.querySelectorAll("[data-pick]")) {
  button.addEventListener("click", () => {
    bench.next = "";
    picks.begin(button.dataset.pick, Number(button.dataset.count));
  });
}
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    byId("end").click();
  }
});

viewer.addEventListener("viewer-ready", () => {
  if (worst) {
    send("viewer-mark", JSON.parse(worst.textContent));
  }
});
if (!worst) {
  step({ act: "look" });
}
