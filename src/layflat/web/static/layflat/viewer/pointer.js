// Pointing with a mouse or a pen that hovers, and taps: presses that do not move.
const TAP_MOVES_PX = 8;

// Tells `at` the newest place, once a frame, and `away` that the pointer has left.
export function onPoint(element, { at, away, signal }) {
  let newest = null;
  element.addEventListener(
    "pointermove",
    (event) => {
      if (event.pointerType === "touch" || event.buttons) {
        return;
      }
      if (newest === null) {
        requestAnimationFrame(() => {
          const event = newest;
          newest = null;
          if (event) {
            at(event);
          }
        });
      }
      newest = event;
    },
    { signal },
  );
  element.addEventListener(
    "pointerleave",
    () => {
      newest = null;
      away();
    },
    { signal },
  );
}

export function onTap(element, { take, signal }) {
  let down = null;
  element.addEventListener(
    "pointerdown",
    (event) => {
      down = event.isPrimary ? event : null;
    },
    { signal },
  );
  element.addEventListener(
    "pointerup",
    (event) => {
      const start = down;
      down = null;
      if (start === null || start.pointerId !== event.pointerId || event.button !== 0) {
        return;
      }
      if (Math.hypot(event.clientX - start.clientX, event.clientY - start.clientY) <= TAP_MOVES_PX) {
        take(event);
      }
    },
    { signal },
  );
}
