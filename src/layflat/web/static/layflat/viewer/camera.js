// Where the eye stands: named views, keys, and what a hand drags.
import * as THREE from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";

const FIELD_DEG = 28;
const TURN_RAD = Math.PI / 18;
const NEARER = 0.8;
// The part of the picture, in each direction from its middle, that a view fills; the buttons stand
// at its foot.
const FREE = { left: -0.94, right: 0.94, foot: -0.76, head: 0.92 };
const ROUNDS = 6;
const MOST_SAMPLES = 4000;
// Straight down the view would have no way up.
const TILT = 1e-3;
// Film that faces a side by less than that share of its area faces both alike.
const LEAST_SIDE = 0.05;
// A panel that lies flat is looked at from before it, so that one sees where it is.
const LEAST_TILT = Math.PI / 5;

export class Camera {
  constructor(viewer, info) {
    this.viewer = viewer;
    this.eye = new THREE.PerspectiveCamera(FIELD_DEG, 1, 10, 100000);
    this.eye.add(viewer.lamp, viewer.lamp.target);
    viewer.lamp.target.position.set(0, 0, -1);
    this.up = new THREE.Vector3(...info.up);
    this.ahead = new THREE.Vector3(...info.forward);
    this.left = new THREE.Vector3().crossVectors(this.up, this.ahead);
    viewer.sky.position.copy(this.up);
    this.eye.up.copy(this.up);
    this.box = new THREE.Box3();
    for (const found of viewer.meshes.values()) {
      found.geometry.computeBoundingBox();
      this.box.union(found.geometry.boundingBox);
    }
    this.middle = this.box.getCenter(new THREE.Vector3());
    this.samples = samplesOf(viewer.meshes.get("body") ?? viewer.meshes.values().next().value);
    this.radius = this.box.getSize(new THREE.Vector3()).length() / 2;
    this.controls = new OrbitControls(this.eye, viewer.canvas);
    this.controls.minDistance = 0.1 * this.radius;
    this.controls.maxDistance = 12 * this.radius;
    this.controls.addEventListener("change", () => this.changed());
    this.view = "corner";
    this.listen();
  }

  listen() {
    const { signal } = this.viewer.ending;
    const { canvas, stage } = this.viewer;
    canvas.addEventListener("keydown", (event) => this.key(event), { signal });
    // The wheel turns the page until the body has been touched, so that nobody gets stuck on it.
    stage.addEventListener(
      "wheel",
      (event) => {
        if (document.activeElement !== canvas) {
          event.stopPropagation();
        }
      },
      { capture: true, passive: true, signal },
    );
    this.controls.addEventListener("start", () => {
      this.view = "";
    });
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) {
      return;
    }
    const step = {
      ArrowLeft: () => this.turn(-TURN_RAD, 0),
      ArrowRight: () => this.turn(TURN_RAD, 0),
      ArrowUp: () => this.turn(0, -TURN_RAD),
      ArrowDown: () => this.turn(0, TURN_RAD),
      "+": () => this.nearer(NEARER),
      "=": () => this.nearer(NEARER),
      "-": () => this.nearer(1 / NEARER),
      Home: () => this.look("corner"),
    }[event.key];
    if (step) {
      event.preventDefault();
      step();
    }
  }

  direction(view) {
    const to = (ahead, left, up) =>
      new THREE.Vector3()
        .addScaledVector(this.ahead, ahead)
        .addScaledVector(this.left, left)
        .addScaledVector(this.up, up)
        .normalize();
    return {
      front: to(1, 0, 0.1),
      rear: to(-1, 0, 0.1),
      left: to(0, 1, 0.05),
      right: to(0, -1, 0.05),
      above: to(-TILT, 0, 1),
      corner: to(...this.corner(), 0.3),
    }[view];
  }

  // The corner that sees the most film: the left front one unless film faces the other side.
  corner() {
    const film = new THREE.Vector3();
    let area = 0;
    for (const [name, found] of this.viewer.meshes) {
      if (!name.startsWith("keep-out") && this.viewer.selected?.has(this.viewer.panelOf.get(name))) {
        const sum = facing(found.geometry);
        film.add(sum);
        area += sum.length();
      }
    }
    const side = (axis, share) => (film.dot(axis) < -LEAST_SIDE * area ? -share : share);
    return [side(this.ahead, 0.76), side(this.left, 0.6)];
  }

  look(view) {
    this.view = view;
    this.fill(this.direction(view), this.samples);
    this.controls.update();
    this.changed();
  }

  // Faces one surface, such as a panel, as near as all of it is seen; never from straight above.
  face(found) {
    this.view = "";
    const away = facing(found.geometry).normalize();
    if (away.angleTo(this.up) < LEAST_TILT) {
      away.addScaledVector(this.ahead, Math.tan(LEAST_TILT)).normalize();
    }
    this.fill(away, samplesOf(found));
    this.controls.update();
    this.changed();
  }

  // Goes as near as all the samples are still seen, and puts them in the middle of the free part.
  fill(away, samples) {
    const across = new THREE.Vector3().crossVectors(this.up, away).normalize();
    const upward = new THREE.Vector3().crossVectors(away, across);
    const high = Math.tan(((FIELD_DEG / 2) * Math.PI) / 180);
    const wide = high * this.eye.aspect;
    const target = this.middle.clone();
    const seen = new THREE.Vector3();
    let off = 4 * this.radius;
    for (let round = 0; round < ROUNDS; round++) {
      const box = new THREE.Box2();
      for (const sample of samples) {
        seen.copy(sample).sub(target);
        const depth = off - seen.dot(away);
        const at = [seen.dot(across) / (depth * wide), seen.dot(upward) / (depth * high)];
        box.expandByPoint(new THREE.Vector2(...at));
      }
      const size = box.getSize(new THREE.Vector2());
      const needs = Math.max(size.x / (FREE.right - FREE.left), size.y / (FREE.head - FREE.foot));
      const middle = box.getCenter(new THREE.Vector2());
      middle.x -= (needs * (FREE.left + FREE.right)) / 2;
      middle.y -= (needs * (FREE.foot + FREE.head)) / 2;
      target.addScaledVector(across, middle.x * wide * off);
      target.addScaledVector(upward, middle.y * high * off);
      off = Math.max(off * needs, this.controls.minDistance);
    }
    this.controls.target.copy(target);
    this.eye.position.copy(target).addScaledVector(away, off);
  }

  turn(sideways, down) {
    this.view = "";
    const away = this.eye.position.clone().sub(this.controls.target);
    away.applyAxisAngle(this.up, sideways);
    const angle = away.angleTo(this.up);
    const wanted = Math.min(Math.max(angle + down, TILT), Math.PI - TILT);
    const across = new THREE.Vector3().crossVectors(this.up, away).normalize();
    away.applyAxisAngle(across, wanted - angle);
    this.eye.position.copy(this.controls.target).add(away);
    this.controls.update();
    this.changed();
  }

  nearer(factor) {
    this.view = "";
    const away = this.eye.position.clone().sub(this.controls.target);
    away.setLength(
      Math.min(
        Math.max(away.length() * factor, this.controls.minDistance),
        this.controls.maxDistance,
      ),
    );
    this.eye.position.copy(this.controls.target).add(away);
    this.controls.update();
    this.changed();
  }

  resize(aspect) {
    this.eye.aspect = aspect;
    if (this.view) {
      this.look(this.view);
    }
    this.changed();
  }

  changed() {
    const off = this.eye.position.distanceTo(this.middle);
    this.eye.near = Math.max(off - 1.2 * this.radius, 0.01 * this.radius);
    this.eye.far = off + 1.2 * this.radius;
    this.eye.updateProjectionMatrix();
    this.viewer.draw();
    this.viewer.pennants.settle();
  }

  close() {
    this.controls.dispose();
  }
}

// Where a surface faces on the whole: the sum of its triangles' normals by area.
function facing(geometry) {
  const position = geometry.getAttribute("position");
  const index = geometry.getIndex();
  const [a, b, c] = [new THREE.Vector3(), new THREE.Vector3(), new THREE.Vector3()];
  const sum = new THREE.Vector3();
  for (let i = 0; i < index.count; i += 3) {
    a.fromBufferAttribute(position, index.getX(i));
    b.fromBufferAttribute(position, index.getX(i + 1)).sub(a);
    c.fromBufferAttribute(position, index.getX(i + 2)).sub(a);
    sum.add(b.cross(c));
  }
  return sum;
}

function samplesOf(found) {
  const position = found.geometry.getAttribute("position");
  const step = Math.max(1, Math.floor(position.count / MOST_SAMPLES));
  const samples = [];
  for (let i = 0; i < position.count; i += step) {
    samples.push(new THREE.Vector3().fromBufferAttribute(position, i));
  }
  return samples;
}
