// The piece on its panel in 3D: coloured by strain, with its edges, the marks, and who points where.
import * as THREE from "three";
import { drawnLines, rimLines, surfaceLines } from "../viewer/lines.js";
import { Cross, apart, drawCrosses, element, ring, tag } from "./marks.js";
import { Scene } from "./scene.js";
import { strainMaterial } from "./shades.js";

// A place is not hidden by the surface that it lies on.
const SLACK_MM = 4;
const ARROW_MM = 20;
const CASING_PX = 5;
const CUT_CASING_PX = 8;
const SETTLE_MS = 80;
const VIEWS = [
  ["corner", "Facing"],
  ["front", "Front"],
  ["left", "Left"],
  ["right", "Right"],
  ["above", "Above"],
];

export class PanelView extends Scene {
  // `tell(place, isPinned)` is called with places of the pattern, or null off the piece.
  // `drawn` is what `drawnOf` gives.
  constructor(stage, pattern, { glb, name, drawn, tell }) {
    const help = "The places to mind are in the list.";
    super(stage, { name, info: pattern.info, help });
    this.pattern = pattern;
    this.tell = tell;
    this.drawn = drawn;
    // What is pointed at, and what was tapped.
    this.crosses = { pointed: new Cross(), pinned: new Cross() };
    this.marks = { pointed: null, pinned: null };
    this.layer = element("svg", { class: "fit-marks", "aria-hidden": "true" });
    this.glb = glb;
  }

  async open() {
    await this.load(this.glb, (_name, found) => this.dress(found));
    this.mesh = this.meshes.get("piece");
    this.rings = this.pattern.places.map((place, i) => {
      const mark = ring(i + 1, place.is_beyond);
      this.layer.append(mark);
      return { mark, place: this.pattern.middleOf(place.face) };
    });
    for (const { name, at, isTaken } of this.drawn) {
      const mark = tag(name, isTaken);
      this.layer.append(mark);
      this.rings.push({ mark, place: this.pattern.placeAt(...at) });
    }
    this.layer.append(...Object.values(this.crosses).map((cross) => cross.group));
    this.stage.append(this.layer);
    this.buttons(VIEWS, this.stage.parentElement);
    this.addLines();
    this.stage.querySelector(".viewer-says")?.remove();
    this.moved();
    this.draw();
  }

  dress(found) {
    const { geometry } = found;
    const { pattern } = this;
    const count = geometry.getAttribute("position").count;
    if (geometry.index.count !== pattern.faces.length || count !== pattern.points.length / 2) {
      throw new Error("The surface and its flat pattern are not of one piece.");
    }
    this.position = geometry.getAttribute("position");
    const areas = new Float64Array(pattern.count);
    const triangle = new THREE.Triangle();
    for (let face = 0; face < pattern.count; face++) {
      areas[face] = this.triangle(face, triangle).getArea();
    }
    const onMap = new Float32Array(pattern.points.length);
    for (let i = 0; i < onMap.length; i += 2) {
      const [x, y] = pattern.toMap(pattern.points[i], pattern.points[i + 1]);
      onMap[i] = x;
      onMap[i + 1] = y;
    }
    geometry.setAttribute("shade", geometry.getAttribute("color"));
    geometry.setAttribute("ratio", new THREE.BufferAttribute(pattern.ratiosAtVertices(areas), 2));
    geometry.setAttribute("onMap", new THREE.BufferAttribute(onMap, 2));
    return strainMaterial();
  }

  addLines() {
    const edges = this.pattern.edges.map((edge) => ({
      kind: edge.kind,
      points: edge.vertices.flatMap((vertex) => this.vertex(vertex).toArray()),
    }));
    const keepOuts = this.pattern.free.map((item) => ({ points: this.lifted(item.points) }));
    const whole = edges.map((edge) => ({ ...edge, kind: "open" }));
    const cuts = this.drawn.map(({ line }) =>
      line.map(([x, y]) => this.pointOf(this.pattern.placeAt(x, y)).toArray()),
    );
    // A light line under each, so that it is seen before dark ground too.
    for (const [colour, made, width] of [
      ["#ffffff", surfaceLines([{ edges: whole }]), CASING_PX],
      ["#211f1c", surfaceLines([{ edges }])],
      ["#211f1c", rimLines([{ keep_outs: keepOuts }])],
      ["#ffffff", drawnLines(cuts), CUT_CASING_PX],
      ["#211f1c", drawnLines(cuts)],
    ]) {
      made.material.color.set(colour);
      made.material.linewidth = width ?? made.material.linewidth;
      // The dark line lies over the light one wherever the surface lets both be seen.
      made.material.depthWrite = !width;
      made.renderOrder = width ? 1 : 2;
      this.scene.add(made);
    }
  }

  // A flat rim on the surface.
  lifted(points) {
    const there = [];
    for (let i = 0; i < points.length; i += 2) {
      there.push(...this.pointOf(this.pattern.placeAt(points[i], points[i + 1])).toArray());
    }
    return there;
  }

  vertex(index) {
    return new THREE.Vector3().fromBufferAttribute(this.position, index);
  }

  triangle(face, target = new THREE.Triangle()) {
    const { faces } = this.pattern;
    target.a.fromBufferAttribute(this.position, faces[3 * face]);
    target.b.fromBufferAttribute(this.position, faces[3 * face + 1]);
    target.c.fromBufferAttribute(this.position, faces[3 * face + 2]);
    return target;
  }

  // The point of the body, in millimetres, of a place of the pattern.
  pointOf({ face, weights }) {
    const { a, b, c } = this.triangle(face);
    return new THREE.Vector3()
      .addScaledVector(a, weights[0])
      .addScaledVector(b, weights[1])
      .addScaledVector(c, weights[2]);
  }

  // The point of the body where the nearest edge is to a flat point, but not one of a kind.
  edgePoint(flat, without) {
    const nearest = this.pattern.nearestEdge(...flat, without);
    if (!nearest) {
      return null;
    }
    const [from, to] = nearest.vertices.map((vertex) => this.vertex(vertex));
    return from.lerp(to, nearest.share).toArray();
  }

  // The place of the pattern that a ray met.
  placeOf(hit) {
    if (hit === null) {
      return null;
    }
    const weights = this.triangle(hit.faceIndex).getBarycoord(hit.point, new THREE.Vector3());
    return { face: hit.faceIndex, weights: weights.toArray(), off: 0 };
  }

  tapped(hit) {
    this.tell(this.placeOf(hit), true);
  }

  pointed(hit) {
    this.tell(this.placeOf(hit), false);
  }

  // Shows what is pointed at, null for nothing, or what was tapped.
  show(mark) {
    if (!mark?.isPinned) {
      this.marks.pointed = mark;
    } else {
      this.marks = { pointed: null, pinned: mark };
    }
    if (!this.camera) {
      return;
    }
    if (mark?.isPinned && mark.isJump && this.isHidden(mark.place)) {
      this.face(mark.place);
    }
    this.drawMarks();
  }

  // Turns so that a place faces the eye.
  face(place) {
    const away = this.triangle(place.face).getNormal(new THREE.Vector3());
    const { controls, eye } = this.camera;
    const off = eye.position.distanceTo(controls.target);
    eye.position.copy(controls.target).addScaledVector(away, off);
    this.camera.view = "";
    controls.update();
    this.camera.changed();
  }

  isHidden(place) {
    const eye = this.camera.eye.position;
    const way = this.pointOf(place).sub(eye);
    const off = way.length();
    if (this.triangle(place.face).getNormal(new THREE.Vector3()).dot(way) > 0) {
      return true;
    }
    this.caster.set(eye, way.normalize());
    const hit = this.hit();
    return hit !== null && hit.distance < off - SLACK_MM;
  }

  moved() {
    if (!this.rings) {
      return;
    }
    const spots = this.rings.map(({ place }) => this.toScreen(this.pointOf(place)));
    apart(spots).forEach(([x, y], i) => {
      const moved = `translate(${x.toFixed(1)} ${y.toFixed(1)})`;
      this.rings[i].mark.setAttribute("transform", moved);
    });
    this.drawMarks();
    clearTimeout(this.waits);
    // Rays are cast once the piece stands still.
    this.waits = setTimeout(() => this.fade(), SETTLE_MS);
  }

  fade() {
    for (const { mark, place } of this.rings) {
      mark.classList.toggle("behind", this.isHidden(place));
    }
    this.drawMarks();
  }

  drawMarks() {
    drawCrosses(this.crosses, this.marks, (cross, mark) => this.drawMark(cross, mark));
  }

  drawMark(cross, mark) {
    const at = this.pointOf(mark.place);
    const here = this.toScreen(at);
    const [along, across] = [mark.angle, mark.angle + Math.PI / 2].map((angle) => {
      const way = this.wayOf(mark.place.face, angle).setLength(ARROW_MM);
      const there = this.toScreen(at.clone().add(way));
      const [x, y] = [there[0] - here[0], there[1] - here[1]];
      const length = Math.hypot(x, y) || 1;
      return [x / length, y / length];
    });
    cross.show(here, {
      along,
      across,
      stretch: mark.stretch,
      crossways: -mark.compression,
      words: mark.words,
      isPinned: mark.isPinned,
      isBehind: this.isHidden(mark.place),
      wide: this.stage.clientWidth,
    });
  }

  // A direction of the flat as it comes to lie on the surface.
  wayOf(face, angle) {
    const [ax, ay, bx, by, cx, cy] = this.pattern.corners(face);
    const size = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
    const [x, y] = [Math.cos(angle), Math.sin(angle)];
    const v = (x * (cy - ay) - y * (cx - ax)) / size;
    const w = (y * (bx - ax) - x * (by - ay)) / size;
    const { a, b, c } = this.triangle(face);
    return new THREE.Vector3().addScaledVector(b.sub(a), v).addScaledVector(c.sub(a), w);
  }
}
