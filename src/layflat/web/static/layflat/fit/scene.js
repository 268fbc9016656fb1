// A place in 3D for the pages of the fit: a canvas, light, a camera, and who points where.
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import { aim } from "../viewer/aim.js";
import { Camera } from "../viewer/camera.js";
import { onPoint, onTap } from "../viewer/pointer.js";

const MOST_PIXEL_RATIO = 2;

// Looks from a side of its own where others look from the corner.
class FacingCamera extends Camera {
  direction(view) {
    return view === "corner" && this.viewer.away
      ? this.viewer.away.clone()
      : super.direction(view);
  }

  changed() {
    super.changed();
    this.viewer.moved();
  }
}

export class Scene {
  // `glb` is an address; `info` has forward and up, and `away` where the first look is from.
  constructor(stage, { name, info, help }) {
    this.stage = stage;
    this.place = stage;
    this.info = info;
    this.away = info.away ? new THREE.Vector3(...info.away).normalize() : null;
    this.meshes = new Map();
    this.ending = new AbortController();
    this.pennants = { settle() {}, follow() {} };
    this.renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, MOST_PIXEL_RATIO));
    this.canvas = this.renderer.domElement;
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute(
      "aria-label",
      `${name} in 3D. Arrow keys turn it, plus and minus come nearer and go back. ${help}`,
    );
    this.scene = new THREE.Scene();
    this.caster = new THREE.Raycaster();
    this.sky = new THREE.HemisphereLight(0xffffff, 0xb8b0a4, 1.5);
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.9);
    this.lamp.position.set(-0.6, 0.8, 1);
    this.scene.add(this.sky);
  }

  // Loads the surfaces and shows them; `dress` gives each its material.
  async load(glb, dress) {
    const loaded = await new GLTFLoader().loadAsync(glb);
    loaded.scene.traverse((node) => {
      if (node.isMesh) {
        this.meshes.set(node.name, node);
      }
    });
    for (const [name, found] of this.meshes) {
      // Vertices are body millimetres; the node would turn them into glTF's metres.
      found.removeFromParent();
      found.matrixAutoUpdate = false;
      found.matrix.identity();
      found.material.dispose();
      found.material = dress(name, found);
      this.scene.add(found);
    }
    this.camera = new FacingCamera(this, this.info);
    this.scene.add(this.camera.eye);
    this.stage.querySelector("img")?.remove();
    this.stage.prepend(this.canvas);
    this.stage.classList.add("shows-body");
    this.pointer();
    new ResizeObserver(() => this.resize()).observe(this.stage);
    this.resize();
    this.camera.look("corner");
  }

  // Buttons for views, into the stage or to another place.
  buttons(views, place = this.stage) {
    const group = document.createElement("div");
    group.className = "viewer-views";
    group.setAttribute("role", "group");
    group.setAttribute("aria-label", "View");
    const add = (word, act, label) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = word;
      if (label) {
        button.setAttribute("aria-label", label);
      }
      button.addEventListener("click", act);
      group.append(button);
    };
    for (const [view, word] of views) {
      add(word, () => this.camera.look(view));
    }
    add("+", () => this.camera.nearer(0.8), "Nearer");
    add("−", () => this.camera.nearer(1.25), "Farther");
    place.append(group);
  }

  pointer() {
    const { canvas } = this;
    const hit = (event) => this.hitAt(event.clientX, event.clientY);
    onTap(canvas, { take: (event) => this.tapped(hit(event)) });
    // A ray once a frame.
    onPoint(canvas, { at: (event) => this.pointed(hit(event)), away: () => this.pointed(null) });
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.canvas.remove();
      this.say("The 3D view was lost; load the page again.");
    });
  }

  // What subclasses do with a hit, or with none.
  tapped() {}

  pointed() {}

  moved() {}

  hitAt(clientX, clientY) {
    aim(this.caster, this.canvas, this.camera.eye, clientX, clientY);
    return this.hit();
  }

  hit() {
    return this.caster.intersectObjects([...this.meshes.values()], false)[0] ?? null;
  }

  // Where a point of the body is on the stage, in pixels.
  toScreen(point) {
    const seen = point.clone().project(this.camera.eye);
    const { width, height } = this.canvas.getBoundingClientRect();
    return [((seen.x + 1) / 2) * width, ((1 - seen.y) / 2) * height];
  }

  say(words) {
    let says = this.stage.querySelector(".viewer-says");
    if (!says) {
      says = document.createElement("p");
      says.className = "viewer-says";
      says.setAttribute("role", "status");
      this.stage.append(says);
    }
    says.textContent = words;
  }

  resize() {
    const { clientWidth, clientHeight } = this.stage;
    if (clientWidth && clientHeight) {
      this.renderer.setSize(clientWidth, clientHeight, false);
      this.camera.resize(clientWidth / clientHeight);
    }
  }

  draw() {
    if (this.asked || !this.camera) {
      return;
    }
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.renderer.render(this.scene, this.camera.eye);
      this.pennants.follow();
    });
  }
}
