// The vehicle in 3D: a tap on film chooses its piece, and its place is found on the flat, whose
// triangles are those of the piece's surface.
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import { Pattern } from "../fit/pattern.js";
import { Viewer } from "../viewer/viewer.js";

// A place farther from a piece's own surface is not on it.
const MOST_OFF_MM = 40;
const pieces = new Map();

export function openVehicle(fold, { stage, pieces: shown, pieceOf, mark }) {
  const place = document.createElement("div");
  place.className = "viewer";
  Object.assign(place.dataset, {
    glb: fold.dataset.glb,
    panels: fold.dataset.lines,
    name: fold.dataset.name,
    list: "none",
    selected: shown.map((piece) => piece.dataset.panel).join(" "),
    open: "yes",
  });
  stage.append(place);
  new Viewer(place);
  place.addEventListener("surface-tap", (event) => tapped(event.detail));
  let noted = [];
  showNoted();

  function tell(more) {
    place.dispatchEvent(new CustomEvent("viewer-mark", { detail: [...noted, ...more] }));
  }

  // Flags that are noted, as far as their places are known.
  async function showNoted() {
    const found = await Promise.all(shown.map((piece) => flagsOn(piece.dataset)));
    noted = found.flat();
    tell([]);
  }

  async function tapped({ x, y, z, panel }) {
    const piece = pieceOf(panel);
    const picture = piece?.querySelector(".check-map");
    if (!picture) {
      return;
    }
    tell([{ x, y, z, label: "new", kind: "new" }]);
    const { cut, name } = picture.dataset;
    const flat = await flatPlace(piece.dataset, new THREE.Vector3(x, y, z));
    mark(cut, ...(flat ?? [null, null]), { title: name });
  }
}

async function load({ surface, flat }) {
  const answer = await fetch(flat);
  if (!answer.ok) {
    throw new Error(`${flat}: ${answer.status}`);
  }
  const pattern = new Pattern(await answer.json());
  const loaded = await new GLTFLoader().loadAsync(surface);
  let position = null;
  loaded.scene.traverse((node) => {
    if (node.isMesh) {
      position = node.geometry.getAttribute("position");
    }
  });
  if (position === null || position.count !== pattern.points.length / 2) {
    throw new Error("The surface and its flat pattern are not of one piece.");
  }
  return { pattern, position };
}

// Its pieces' files are asked for once.
function loaded(dataset) {
  if (!pieces.has(dataset.flat)) {
    pieces.set(dataset.flat, load(dataset));
  }
  return pieces.get(dataset.flat);
}

async function flagsOn(dataset) {
  const flags = JSON.parse(dataset.flags || "[]");
  // A piece from a kept pattern has no surface to show them on.
  if (flags.length === 0 || !dataset.surface) {
    return [];
  }
  try {
    const { pattern, position } = await loaded(dataset);
    return flags.map(({ label, kind, x, y }) => {
      const { face, weights } = pattern.placeAt(x, y);
      const at = new THREE.Vector3();
      weights.forEach((weight, k) => {
        const corner = new THREE.Vector3();
        corner.fromBufferAttribute(position, pattern.faces[3 * face + k]);
        at.addScaledVector(corner, weight);
      });
      return { x: at.x, y: at.y, z: at.z, label, kind };
    });
  } catch (error) {
    pieces.delete(dataset.flat);
    console.info("check:", error.message);
    return [];
  }
}

// The flat point of a place on the body; null where it cannot be found.
async function flatPlace(dataset, at) {
  try {
    return nearest(await loaded(dataset), at);
  } catch (error) {
    pieces.delete(dataset.flat);
    console.info("check:", error.message);
    return null;
  }
}

function nearest({ pattern, position }, at) {
  const triangle = new THREE.Triangle();
  const here = new THREE.Vector3();
  const best = { off: MOST_OFF_MM, place: null };
  const { faces } = pattern;
  for (let face = 0; face < pattern.count; face++) {
    triangle.a.fromBufferAttribute(position, faces[3 * face]);
    triangle.b.fromBufferAttribute(position, faces[3 * face + 1]);
    triangle.c.fromBufferAttribute(position, faces[3 * face + 2]);
    triangle.closestPointToPoint(at, here);
    const off = here.distanceTo(at);
    if (off < best.off) {
      const weights = triangle.getBarycoord(here, new THREE.Vector3());
      best.off = off;
      best.place = weights && { face, weights: weights.toArray() };
    }
  }
  return best.place && pattern.flatOf(best.place);
}
