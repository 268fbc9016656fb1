// Follows a pointer that took hold of a piece, until it lets go.

const DRAG_PX = 4;

/**
 * Tell how far a piece is drawn, once a frame, and how that ended.
 *
 * `placeOf(x, y)` gives the place on the roll, in mm, that lies below a place of the window.
 * `drawn(dx, dy)` and `dropped(dx, dy)` are told the way on the roll since *event*; `cancelled()`
 * is called in the place of `dropped` when the browser takes the pointer away. A pointer that
 * hardly moves draws nothing.
 */
export function follow(path, event, placeOf, { drawn, dropped, cancelled }) {
  const start = placeOf(event.clientX, event.clientY);
  const wayTo = (now) => {
    const [x, y] = placeOf(now.clientX, now.clientY);
    return [x - start[0], y - start[1]];
  };
  let isMoving = false;
  let frame = 0;
  const move = (now) => {
    const far = Math.hypot(now.clientX - event.clientX, now.clientY - event.clientY);
    isMoving = isMoving || far > DRAG_PX;
    if (isMoving && frame === 0) {
      frame = requestAnimationFrame(() => {
        frame = 0;
        drawn(...wayTo(now));
      });
    }
  };
  const end = (last) => {
    path.removeEventListener("pointermove", move);
    path.removeEventListener("pointerup", end);
    path.removeEventListener("pointercancel", end);
    cancelAnimationFrame(frame);
    if (isMoving && last.type === "pointercancel") {
      cancelled();
    } else if (isMoving) {
      dropped(...wayTo(last));
    }
  };
  path.setPointerCapture(event.pointerId);
  path.addEventListener("pointermove", move);
  path.addEventListener("pointerup", end);
  path.addEventListener("pointercancel", end);
}
