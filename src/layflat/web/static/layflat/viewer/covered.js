// What is under film besides whole panels: parts of panels up to a line, and keep-outs.
import * as THREE from "three";

// How much of the chalk's colour film takes on: the panel is seen through it.
const FILM = 0.6;

export class Covered {
  // Parts are pushed back by `behind` pixels of slope, between their panels and the keep-outs.
  constructor(viewer, info, behind) {
    this.viewer = viewer;
    this.behind = behind;
    this.parts = [];
    this.over = new Set();
    this.keepOuts = new Map();
    for (const panel of info.panels) {
      for (const item of panel.keep_outs) {
        this.keepOuts.set(item.mesh, pairOf([panel.name, item.name]));
      }
    }
  }

  // A tap meets the panel below a part, so parts are no surfaces of the viewer's own.
  show({ parts, over }) {
    for (const part of this.parts) {
      part.removeFromParent();
      part.geometry.dispose();
      part.material.dispose();
    }
    this.parts = parts.map(({ positions, indices }) => this.part(positions, indices));
    this.over = new Set(over.map(pairOf));
    for (const part of this.parts) {
      this.viewer.scene.add(part);
    }
  }

  part(positions, indices) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.Float32BufferAttribute(positions, 3));
    geometry.setIndex(indices);
    geometry.computeVertexNormals();
    const material = new THREE.MeshLambertMaterial({
      side: THREE.DoubleSide,
      polygonOffset: true,
      polygonOffsetFactor: this.behind,
      polygonOffsetUnits: this.behind,
    });
    const part = new THREE.Mesh(geometry, material);
    part.matrixAutoUpdate = false;
    return part;
  }

  isUnderFilm(mesh) {
    return this.over.has(this.keepOuts.get(mesh));
  }

  recolour(colours) {
    for (const part of this.parts) {
      film(part.material.color.copy(colours.panel), colours);
    }
  }
}

export function film(colour, colours) {
  return colour.lerp(colours.chalk, FILM);
}

function pairOf(names) {
  return names.join("\n");
}
