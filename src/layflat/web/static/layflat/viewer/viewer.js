// One viewer: the surfaces and lines of a body, what is pointed at, and who is told.
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import { aim } from "./aim.js";
import { Camera } from "./camera.js";
import { Covered, film } from "./covered.js";
import { drawnLines, rimLines, surfaceLines } from "./lines.js";
import { palette } from "./palette.js";
import { Pennants } from "./pennants.js";
import { onPoint, onTap } from "./pointer.js";
import { panelList, viewButtons } from "./tools.js";

const MOST_PIXEL_RATIO = 2;
// Lines lie on keep-outs, these on panels, these on the body: each is pushed back by so many
// pixels of slope, so that the one above is seen whole.
const BEHIND = { body: 4, panel: 3, part: 2.5, "keep-out": 2 };

export class Viewer {
  constructor(place) {
    this.place = place;
    this.panels = [];
    this.meshes = new Map();
    this.selected = new Set((place.dataset.selected ?? "").split(" ").filter(Boolean));
    this.pointed = "";
    this.marks = JSON.parse(place.dataset.marks ?? "[]");
    this.drawn = [];
    this.more = { parts: [], over: [] };
    this.ending = new AbortController();
    this.stage = document.createElement("div");
    this.stage.className = "viewer-stage";
    this.says = document.createElement("p");
    this.says.className = "viewer-says";
    this.says.setAttribute("aria-live", "polite");
    this.stage.append(...place.querySelectorAll(":scope > img"), this.says);
    place.prepend(this.stage);
    this.listen();
    this.open();
  }

  async open() {
    const lines = this.fetchLines();
    try {
      this.start();
    } catch {
      this.withoutPicture("This browser cannot show the body in 3D.");
    }
    try {
      const loaded = this.renderer && new GLTFLoader().loadAsync(this.place.dataset.glb);
      const [info, surfaces] = await Promise.all([lines, loaded]);
      if (this.ending.signal.aborted) {
        return;
      }
      this.panels = info.panels;
      if (this.place.dataset.list !== "none") {
        this.place.append(panelList(this));
      }
      if (surfaces) {
        this.build(info, surfaces);
      }
      this.showSelected();
      this.place.dispatchEvent(new CustomEvent("viewer-ready", { bubbles: true }));
    } catch (error) {
      if (!this.ending.signal.aborted) {
        this.withoutPicture("The body could not be loaded; load the page again.");
        console.warn("viewer:", error.message);
      }
    }
  }

  async fetchLines() {
    if (!this.place.dataset.panels) {
      return { panels: [], forward: [1, 0, 0], up: [0, 0, 1] };
    }
    const answer = await fetch(this.place.dataset.panels, { signal: this.ending.signal });
    if (!answer.ok) {
      throw new Error(`${this.place.dataset.panels}: ${answer.status}`);
    }
    return answer.json();
  }

  start() {
    this.renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, MOST_PIXEL_RATIO));
    this.canvas = this.renderer.domElement;
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute(
      "aria-label",
      `${this.place.dataset.name ?? "The body"} in 3D. Arrow keys turn it, plus and minus come ` +
        "nearer and go back. The panels are in the list below it.",
    );
    this.scene = new THREE.Scene();
    this.caster = new THREE.Raycaster();
    this.pennants = new Pennants(this);
  }

  build(info, surfaces) {
    surfaces.scene.traverse((node) => {
      if (node.isMesh) {
        // Vertices are body millimetres; the node would turn them into glTF's metres.
        this.meshes.set(node.name, node);
      }
    });
    for (const [name, found] of this.meshes) {
      const kind = name.replace(/-\d.*$/, "");
      found.removeFromParent();
      found.matrixAutoUpdate = false;
      found.matrix.identity();
      found.material.dispose();
      found.material = new THREE.MeshLambertMaterial({
        side: THREE.DoubleSide,
        vertexColors: found.geometry.hasAttribute("color"),
        polygonOffset: true,
        polygonOffsetFactor: BEHIND[kind] ?? 0,
        polygonOffsetUnits: BEHIND[kind] ?? 0,
      });
      this.scene.add(found);
    }
    this.panelOf = new Map(info.panels.map((panel) => [panel.mesh, panel.name]));
    for (const panel of info.panels) {
      for (const item of panel.keep_outs) {
        this.panelOf.set(item.mesh, panel.name);
      }
    }
    this.covered = new Covered(this, info, BEHIND.part);
    this.covered.show(this.more);
    this.edges = surfaceLines(info.panels);
    this.rims = rimLines(info.panels);
    this.scene.add(this.edges, this.rims);
    this.light();
    this.camera = new Camera(this, info);
    this.scene.add(this.camera.eye);
    this.stage.prepend(this.canvas);
    this.stage.append(viewButtons(this));
    this.place.classList.add("shows-body");
    this.resized = new ResizeObserver(() => this.resize());
    this.resized.observe(this.stage);
    this.recolour();
    this.resize();
    this.camera.look("corner");
    this.pointer();
    this.drawLines();
    this.pennants.show(this.marks);
  }

  light() {
    // Light from above, and from over the shoulder wherever one stands: no side is ever black.
    this.sky = new THREE.HemisphereLight(0xffffff, 0xb8b0a4, 1.5);
    this.sky.position.set(0, 0, 1);
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.9);
    this.lamp.position.set(-0.6, 0.8, 1);
    this.scene.add(this.sky);
  }

  listen() {
    const { signal } = this.ending;
    const on = (name, take) => this.place.addEventListener(name, take, { signal });
    on("viewer-mark", (event) => {
      this.marks = event.detail;
      if (this.camera) {
        this.pennants.show(this.marks);
      }
    });
    on("viewer-select", (event) => {
      this.selected = new Set(event.detail);
      this.showSelected();
    });
    on("viewer-point", (event) => this.point(event.detail));
    on("viewer-tap-middle", () => this.tapMiddle());
    on("viewer-look", (event) => this.look(event.detail));
    on("viewer-lines", (event) => {
      this.drawn = event.detail;
      this.drawLines();
    });
    on("viewer-cover", (event) => {
      this.more = event.detail;
      this.covered?.show(this.more);
      this.showSelected();
    });
    const dark = window.matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", () => this.recolour(), { signal });
  }

  pointer() {
    const { signal } = this.ending;
    onTap(this.canvas, { take: (event) => this.tapAt(event.clientX, event.clientY), signal });
    onPoint(this.canvas, {
      at: (event) => this.point(this.hitAt(event.clientX, event.clientY)?.panel ?? ""),
      away: () => this.point(""),
      signal,
    });
    const lost = (event) => {
      event.preventDefault();
      this.withoutPicture("The 3D view was lost; load the page again.");
    };
    this.canvas.addEventListener("webglcontextlost", lost, { signal });
  }

  hitAt(clientX, clientY) {
    aim(this.caster, this.canvas, this.camera.eye, clientX, clientY);
    return this.hit();
  }

  // What the ray meets first; a panel counts before the body that it lies on.
  hit() {
    const hits = this.caster.intersectObjects([...this.meshes.values()], false);
    if (hits.length === 0) {
      return null;
    }
    const near = hits.filter((hit) => hit.distance < hits[0].distance + 2);
    const panel = near.find((hit) => this.panelOf.has(hit.object.name)) ?? near[0];
    return {
      point: panel.point,
      distance: panel.distance,
      panel: this.panelOf.get(panel.object.name) ?? "",
    };
  }

  tapAt(clientX, clientY) {
    const hit = this.hitAt(clientX, clientY);
    if (hit !== null) {
      this.tell(hit.point.x, hit.point.y, hit.point.z, hit.panel, this.sizeAt(hit.distance));
    }
  }

  // How many millimetres a pixel covers at a distance from the eye.
  sizeAt(distance) {
    const high = 2 * Math.tan(((this.camera.eye.fov / 2) * Math.PI) / 180);
    return (high * distance) / this.stage.clientHeight;
  }

  tapMiddle() {
    const box = this.canvas?.getBoundingClientRect();
    if (this.camera && box) {
      this.tapAt(box.left + box.width / 2, box.top + box.height / 2);
    }
  }

  tell(x, y, z, panel, mmPerPx) {
    const detail = { x, y, z, panel, mm_per_px: mmPerPx };
    this.place.dispatchEvent(new CustomEvent("surface-tap", { detail, bubbles: true }));
  }

  look(name) {
    const panel = this.panels.find((item) => item.name === name);
    const surface = this.meshes.get(panel?.mesh);
    if (surface) {
      this.camera?.face(surface);
    } else {
      this.camera?.look("corner");
    }
  }

  point(name) {
    if (name === this.pointed) {
      return;
    }
    this.pointed = name;
    this.says.textContent = this.panels.find((panel) => panel.name === name)?.title ?? "";
    for (const button of this.place.querySelectorAll(".viewer-panels button")) {
      button.classList.toggle("pointed", button.dataset.panel === name);
    }
    this.recolour();
  }

  showSelected() {
    for (const button of this.place.querySelectorAll(".viewer-panels button")) {
      const { panel } = button.dataset;
      const isPart = this.more.parts.some((part) => part.panel === panel);
      button.setAttribute("aria-pressed", isPart ? "mixed" : String(this.selected.has(panel)));
    }
    this.recolour();
  }

  drawLines() {
    if (!this.camera) {
      return;
    }
    if (this.chalk) {
      this.chalk.removeFromParent();
      this.chalk.geometry.dispose();
      this.chalk.material.dispose();
    }
    this.chalk = this.drawn.length ? drawnLines(this.drawn) : null;
    if (this.chalk) {
      this.scene.add(this.chalk);
    }
    this.recolour();
  }

  recolour() {
    if (!this.camera) {
      return;
    }
    const colours = palette(this.place);
    for (const [name, found] of this.meshes) {
      if (found.geometry.hasAttribute("color")) {
        continue;
      }
      const panel = this.panelOf.get(name);
      const colour = found.material.color;
      if (this.covered.isUnderFilm(name)) {
        film(colour.copy(colours.panel), colours);
      } else if (name.startsWith("keep-out")) {
        colour.copy(colours.keepOut);
      } else if (panel === undefined) {
        colour.copy(colours.clay);
      } else {
        colour.copy(colours.panel);
        if (this.selected.has(panel)) {
          film(colour, colours);
        }
        if (this.pointed === panel) {
          colour.lerp(colours.pointed, 0.45);
        }
      }
    }
    this.covered.recolour(colours);
    this.edges.material.color.copy(colours.ink);
    this.rims.material.color.copy(colours.ink);
    this.chalk?.material.color.copy(colours.chalk);
    this.draw();
  }

  resize() {
    const { clientWidth, clientHeight } = this.stage;
    if (clientWidth && clientHeight) {
      this.renderer.setSize(clientWidth, clientHeight, false);
      this.camera.resize(clientWidth / clientHeight);
    }
  }

  // One picture before the next repaint, however often it is asked for.
  draw() {
    if (this.asked || !this.camera || this.ending.signal.aborted) {
      return;
    }
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.renderer.render(this.scene, this.camera.eye);
      this.pennants.follow();
    });
  }

  withoutPicture(sentence) {
    this.place.classList.remove("shows-body");
    this.place.classList.add("without-3d");
    this.canvas?.remove();
    this.stage.querySelector(".viewer-views")?.remove();
    this.says.textContent = sentence;
  }

  close() {
    this.ending.abort();
    cancelAnimationFrame(this.asked ?? 0);
    this.resized?.disconnect();
    this.camera?.close();
    this.pennants?.close();
    this.scene?.traverse((node) => {
      node.geometry?.dispose();
      node.material?.dispose();
    });
    this.renderer?.dispose();
    this.renderer?.forceContextLoss();
  }
}
