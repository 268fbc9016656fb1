// A body in 3D. Markup: <div class="viewer" data-glb="URL" data-panels="URL"></div>
// The div fires a bubbling `surface-tap` with {x, y, z, panel} in body millimetres, and shows
// pennants when it is sent a `viewer-mark` with [{x, y, z, label, kind}].
import { openViewer } from "./viewer/viewer.js";

for (const place of document.querySelectorAll(".viewer[data-glb]")) {
  openViewer(place);
}
