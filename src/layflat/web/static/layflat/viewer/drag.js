// A pennant that a hand drags to another place of the surface; a press that stays is its tap.
const DRAG_MOVES_PX = 8;

export function draggable(flag, mark, viewer) {
  let start = null;
  let moved = false;
  flag.classList.add("drags");
  flag.addEventListener("pointerdown", (event) => {
    start = event;
    moved = false;
    flag.setPointerCapture(event.pointerId);
  });
  flag.addEventListener("pointermove", (event) => {
    if (start === null || start.pointerId !== event.pointerId) {
      return;
    }
    const [right, down] = [event.clientX - start.clientX, event.clientY - start.clientY];
    moved ||= Math.hypot(right, down) > DRAG_MOVES_PX;
    if (moved) {
      flag.style.translate = `${right}px ${down}px`;
    }
  });
  const end = () => {
    start = null;
    flag.style.translate = "";
  };
  flag.addEventListener("pointercancel", end);
  flag.addEventListener("pointerup", (event) => {
    if (moved && start !== null) {
      // The foot of the staff stands on the place, and goes with the hand.
      const box = flag.getBoundingClientRect();
      const hit = viewer.hitAt(box.left, box.bottom);
      if (hit !== null) {
        const { x, y, z } = hit.point;
        const detail = { label: mark.label, kind: mark.kind, x, y, z, mm_per_px: viewer.sizeAt(hit.distance) };
        viewer.place.dispatchEvent(new CustomEvent("pennant-drag", { detail, bubbles: true }));
      }
    }
    end();
    event.preventDefault();
  });
  // A drag is no tap.
  flag.addEventListener(
    "click",
    (event) => {
      if (moved) {
        moved = false;
        event.stopImmediatePropagation();
      }
    },
    { capture: true },
  );
}
