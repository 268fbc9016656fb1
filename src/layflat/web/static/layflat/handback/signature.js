// A field to sign in: strokes of a finger, a pen or the mouse, in whole units of the field.

const MOST_POINTS = 20000;
const LEAST_UNITS = 3; // nearer points than this say nothing more
const pad = document.querySelector("#pad");

if (pad) {
  const field = document.querySelector("#strokes");
  const says = document.querySelector("#pad-says");
  const context = pad.getContext("2d");
  const strokes = earlier(field.value);
  let drawing = null; // the pointer that draws: a palm on the glass draws nothing

  pad.hidden = false;
  document.querySelector(".pad-tools").hidden = false;
  context.lineWidth = 5;
  context.lineCap = "round";
  context.lineJoin = "round";
  context.strokeStyle = "#000";
  show();

  pad.addEventListener("pointerdown", (event) => {
    if (drawing !== null || event.button !== 0) return;
    event.preventDefault();
    drawing = event.pointerId;
    pad.setPointerCapture(event.pointerId);
    strokes.push([place(event)]);
    show();
  });
  pad.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drawing) return;
    event.preventDefault();
    for (const each of event.getCoalescedEvents?.() ?? [event]) add(place(each));
    paint();
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
    pad.addEventListener(name, (event) => {
      if (event.pointerId !== drawing) return;
      drawing = null;
      show();
    });
  }
  document.querySelector("#pad-undo").addEventListener("click", () => {
    strokes.pop();
    show();
  });
  document.querySelector("#pad-clear").addEventListener("click", () => {
    strokes.length = 0;
    show();
  });

  function place(event) {
    const box = pad.getBoundingClientRect();
    const x = Math.round(((event.clientX - box.left) / box.width) * pad.width);
    const y = Math.round(((event.clientY - box.top) / box.height) * pad.height);
    return [Math.min(pad.width, Math.max(0, x)), Math.min(pad.height, Math.max(0, y))];
  }

  function add(point) {
    const stroke = strokes.at(-1);
    const [x, y] = stroke.at(-1);
    if (Math.abs(point[0] - x) + Math.abs(point[1] - y) < LEAST_UNITS) return;
    if (strokes.reduce((sum, each) => sum + each.length, 0) < MOST_POINTS) stroke.push(point);
  }

  function paint() {
    context.clearRect(0, 0, pad.width, pad.height);
    for (const stroke of strokes) {
      context.beginPath();
      context.moveTo(...stroke[0]);
      // A dot is a stroke to its own place.
      for (const point of stroke.length > 1 ? stroke : [stroke[0]]) context.lineTo(...point);
      context.stroke();
    }
  }

  function show() {
    paint();
    field.value = strokes.length ? JSON.stringify(strokes) : "";
    const many = strokes.length === 1 ? "1 stroke is" : `${strokes.length} strokes are`;
    says.textContent = strokes.length ? `${many} drawn.` : "Nothing is drawn yet.";
  }

  // What a page that was refused keeps; nothing of it is trusted.
  function earlier(text) {
    try {
      const found = JSON.parse(text);
      const isPoint = (point) => Array.isArray(point) && point.length === 2 && point.every(Number.isInteger);
      return Array.isArray(found)
        ? found.filter((stroke) => Array.isArray(stroke) && stroke.length && stroke.every(isPoint))
        : [];
    } catch {
      return [];
    }
  }
}
