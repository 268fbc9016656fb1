// The body in 3D. Markup: <div class="viewer" data-glb="URL" data-panels="URL"></div>, with an
// <img> inside for browsers that cannot show it; bodies/viewer_head.html goes into the page's head.
//
// More attributes: data-list="none" leaves out the list of panels, data-selected="hood door-left"
// and data-marks="[…]" are what `viewer-select` and `viewer-mark` would send.
//
// The div fires, bubbling:
//   surface-tap   {x, y, z, panel, mm_per_px}   a place was tapped, in body millimetres; panel ""
//                 off panels; mm_per_px: how much of it a pixel covers, where it was tapped in 3D
//   pennant-tap   {label, kind}      a pennant was tapped
//   pennant-drag  {label, kind, x, y, z, mm_per_px}   one with `drags` was put somewhere else
//   viewer-ready                     the body is seen
// and listens to CustomEvents that are dispatched on it:
//   viewer-mark   [{x, y, z, label, kind, drags}]   the pennants to show; kind "mended" is outlined
//   viewer-tap-middle                        as if the middle of the picture were tapped
//   viewer-select [name, …]                  the panels shown as under film
//   viewer-point  name or ""                 the panel that is pointed out
//   viewer-look   name or ""                 the panel that the eye goes to; all of the body for ""
//   viewer-lines  [[[x, y, z], …], …]        lines drawn on the surface
//   viewer-cover  {parts, over}              what else is under film: parts of panels as triangles,
//                 [{panel, positions: [x, y, z, x, …], indices: [i, j, k, i, …]}, …], and keep-outs
//                 under film, [[panel, keep-out], …]
import { Viewer } from "./viewer/viewer.js";

const PLACES = ".viewer[data-glb]:not([data-open])";

function openAll(root) {
  for (const place of root.querySelectorAll(PLACES)) {
    open(place);
  }
  if (root.matches?.(PLACES)) {
    open(root);
  }
}

function open(place) {
  place.dataset.open = "yes";
  const viewer = new Viewer(place);
  place.addEventListener("htmx:beforeCleanupElement", (event) => {
    if (event.target === place) {
      viewer.close();
    }
  });
}

openAll(document);
document.addEventListener("htmx:load", (event) => openAll(event.detail.elt));
