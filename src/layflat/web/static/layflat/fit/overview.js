// The vehicle with its film: pieces patterned by their effort, numbered, each leading to its page.
import * as THREE from "three";
import { Pennants } from "../viewer/pennants.js";
import { VIEWS } from "../viewer/tools.js";
import { Scene } from "./scene.js";
import { effortMaterial } from "./shades.js";

const PIECE = /^piece-(\d+)$/;

class VehicleView extends Scene {
  constructor(stage, { info, cards }) {
    const help = "The pieces are in the list below it.";
    super(stage, { name: stage.dataset.name, info, help });
    this.cards = cards;
    this.pennants = new Pennants(this);
  }

  async open() {
    await this.load(this.stage.dataset.glb, (name) => this.dress(name));
    this.buttons(VIEWS);
    this.recolour();
    const dark = window.matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", () => this.recolour());
    const marks = [];
    for (const [name, mesh] of this.meshes) {
      const card = this.cards.get(name.match(PIECE)?.[1]);
      if (card) {
        const { x, y, z } = middleOf(mesh.geometry);
        marks.push({ x, y, z, label: card.dataset.number, kind: card.dataset.effort });
      }
    }
    this.pennants.show(marks);
    for (const [i, mark] of marks.entries()) {
      const name = this.cards.get(mark.label).querySelector(".piece-name").textContent.trim();
      const { flag } = this.pennants.shown[i];
      flag.setAttribute("aria-label", `${name.replace(/\s+/g, " ")}, open`);
    }
    this.stage.addEventListener("pennant-tap", (event) => this.go(event.detail.label));
    this.stage.dataset.ready = "yes";
  }

  dress(name) {
    const effort = this.cards.get(name.match(PIECE)?.[1])?.dataset.effort;
    return effort
      ? effortMaterial(effort, this.renderer.getPixelRatio())
      : new THREE.MeshLambertMaterial({
          side: THREE.DoubleSide,
          polygonOffset: true,
          polygonOffsetFactor: 4,
          polygonOffsetUnits: 4,
        });
  }

  recolour() {
    const style = getComputedStyle(this.stage);
    const colour = (name) => new THREE.Color(style.getPropertyValue(name).trim());
    for (const mesh of this.meshes.values()) {
      if (mesh.material.uniforms) {
        mesh.material.uniforms.film.value.copy(colour("--body-film"));
        mesh.material.uniforms.ink.value.copy(colour("--body-film-ink"));
      } else {
        mesh.material.color.copy(colour("--body-clay"));
      }
    }
    this.draw();
  }

  pieceOf(hit) {
    return hit?.object.name.match(PIECE)?.[1] ?? "";
  }

  tapped(hit) {
    this.go(this.pieceOf(hit));
  }

  pointed(hit) {
    const number = this.pieceOf(hit);
    if (number === this.over) {
      return;
    }
    this.over = number;
    for (const [name, mesh] of this.meshes) {
      if (mesh.material.uniforms) {
        mesh.material.uniforms.pointed.value = number && name === `piece-${number}` ? 1 : 0;
      }
    }
    this.say(this.cards.get(number)?.querySelector(".piece-name").textContent.trim() ?? "");
    this.draw();
  }

  go(number) {
    this.cards.get(number)?.querySelector("a").click();
  }
}

// The vertex that is nearest to the middle of a surface.
function middleOf(geometry) {
  geometry.computeBoundingBox();
  const middle = geometry.boundingBox.getCenter(new THREE.Vector3());
  const position = geometry.getAttribute("position");
  const at = new THREE.Vector3();
  const best = new THREE.Vector3();
  let least = Infinity;
  for (let i = 0; i < position.count; i++) {
    const off = at.fromBufferAttribute(position, i).distanceToSquared(middle);
    if (off < least) {
      least = off;
      best.copy(at);
    }
  }
  return best;
}

async function open(stage) {
  const cards = new Map(
    [...document.querySelectorAll(".piece-card")].map((card) => [card.dataset.number, card]),
  );
  try {
    const answer = await fetch(stage.dataset.lines);
    if (!answer.ok) {
      throw new Error(`${stage.dataset.lines}: ${answer.status}`);
    }
    const info = await answer.json();
    await new VehicleView(stage, { info, cards }).open();
  } catch (error) {
    // The picture stays, and the list says the same.
    console.warn("fit:", error.message);
  }
}

const stage = document.getElementById("vehicle");
if (stage) {
  open(stage);
}
