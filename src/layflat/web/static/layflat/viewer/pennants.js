// Numbered pennants on the body, as buttons over the picture: sharp, reachable by key, and faded
// while the body is before them.
import * as THREE from "three";
import { draggable } from "./drag.js";

const SETTLE_MS = 120;
// A place on the surface is not hidden by the surface it lies on.
const SLACK_MM = 15;

export class Pennants {
  constructor(viewer) {
    this.viewer = viewer;
    this.layer = document.createElement("div");
    this.layer.className = "viewer-pennants";
    this.shown = [];
    viewer.stage.append(this.layer);
  }

  show(marks) {
    this.layer.replaceChildren();
    this.shown = marks.map((mark) => {
      const flag = document.createElement("button");
      flag.type = "button";
      flag.className = "viewer-pennant";
      flag.dataset.kind = mark.kind ?? "";
      const label = document.createElement("span");
      label.textContent = mark.label;
      flag.append(label);
      flag.setAttribute("aria-label", [mark.label, mark.kind].filter(Boolean).join(", "));
      if (mark.drags) {
        draggable(flag, mark, this.viewer);
      }
      flag.addEventListener("click", () => {
        const detail = { label: mark.label, kind: mark.kind };
        this.viewer.place.dispatchEvent(new CustomEvent("pennant-tap", { detail, bubbles: true }));
      });
      this.layer.append(flag);
      return { flag, at: new THREE.Vector3(mark.x, mark.y, mark.z) };
    });
    this.viewer.draw();
    this.settle();
  }

  // Puts each pennant where its place is in the picture.
  follow() {
    const { clientWidth, clientHeight } = this.viewer.stage;
    for (const { flag, at } of this.shown) {
      const seen = at.clone().project(this.viewer.camera.eye);
      flag.hidden = Math.abs(seen.x) > 1 || Math.abs(seen.y) > 1 || seen.z > 1;
      const x = ((seen.x + 1) / 2) * clientWidth;
      const y = ((1 - seen.y) / 2) * clientHeight;
      flag.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }
  }

  // Finds which are hidden, once the body stands still.
  settle() {
    clearTimeout(this.waits);
    if (this.shown.length) {
      this.waits = setTimeout(() => this.hide(), SETTLE_MS);
    }
  }

  hide() {
    const { caster, camera } = this.viewer;
    for (const { flag, at } of this.shown) {
      const way = at.clone().sub(camera.eye.position);
      const off = way.length();
      caster.set(camera.eye.position, way.normalize());
      const hit = this.viewer.hit();
      flag.classList.toggle("behind", hit !== null && hit.distance < off - SLACK_MM);
    }
  }

  close() {
    clearTimeout(this.waits);
    this.layer.remove();
  }
}
