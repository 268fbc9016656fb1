// The search as it goes on: once a second the best layout so far, to which the pieces settle.

import { element } from "./roll.js";

const EVERY_MS = 1000;
const SETTLE_MS = 600;
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

export class Live {
  constructor(section, roll) {
    this.section = section;
    this.roll = roll;
    this.standing = section.dataset.standing;
    this.shapes = null;
    this.lies = new Map();
    this.misses = 0;
    setTimeout(() => this.look(), EVERY_MS);
  }

  async look() {
    try {
      const answer = await fetch(this.section.dataset.soFar, {
        headers: { Accept: "application/json" },
      });
      if (!answer.ok || answer.redirected) {
        throw new Error(`status ${answer.status}`);
      }
      const news = await answer.json();
      this.misses = 0;
      // Where nothing is drawn yet, the page itself draws the first layout.
      const isFirst = this.roll === null && news.placements.length > 0;
      if (isFirst || !news.is_live || this.isPast(news.standing)) {
        location.reload();
        return;
      }
      await this.show(news);
    } catch {
      this.misses += 1;
      if (this.misses === 3) {
        document.getElementById("standing").textContent = "No answer; asking again";
      }
    }
    setTimeout(() => this.look(), EVERY_MS);
  }

  isPast(standing) {
    return standing !== this.standing && (standing === "making" || this.standing === "making");
  }

  async show(news) {
    for (const place of this.section.querySelectorAll("[data-figure]")) {
      place.textContent = news[place.dataset.figure] ?? place.textContent;
    }
    this.section.querySelector("progress").value = news.percent;
    const word = news.word.charAt(0).toUpperCase() + news.word.slice(1);
    const standing = document.getElementById("standing");
    if (standing.textContent !== word) {
      standing.textContent = word;
    }
    this.standing = news.standing;
    if (this.roll === null || news.placements.length === 0) {
      return;
    }
    if (this.shapes === null) {
      const answer = await fetch(this.section.dataset.shapes);
      this.shapes = (await answer.json()).pieces;
    }
    this.drawSections(news.sections);
    this.settle(news.placements);
  }

  drawSections(sections) {
    const { width, texts, picture } = this.roll;
    const lines = sections.slice(0, -1).map(([, end]) => {
      return element("line", { class: "roll-section", x1: end, x2: end, y1: 0, y2: width });
    });
    picture.querySelector("[data-sections]").replaceChildren(...lines);
    for (const name of texts.querySelectorAll("[data-section]")) {
      name.remove();
    }
    sections.forEach(([start, end], place) => {
      const number = place + 1;
      const name = element("text", {
        class: "roll-name",
        dy: "-0.4em",
        "data-section": number,
        "data-start": start,
      });
      name.textContent = `section ${number}`;
      texts.append(name);
      this.roll.put(name, (start + end) / 2, 0);
    });
    this.roll.letters();
  }

  settle(placements) {
    const from = new Map();
    for (const path of this.roll.picture.querySelectorAll("[data-piece]")) {
      const { turn, x, y } = path.dataset;
      from.set(path, [Number(turn), Number(x), Number(y)]);
    }
    const to = new Map(placements.map(([piece, ...lie]) => [String(piece), lie]));
    const began = performance.now();
    const frame = (now) => {
      const part = calm.matches ? 1 : Math.min(1, (now - began) / SETTLE_MS);
      const eased = part * (2 - part);
      for (const [path, was] of from) {
        const lie = to.get(path.dataset.piece);
        if (lie !== undefined) {
          this.place(path, between(was, lie, eased));
        }
      }
      if (part < 1) {
        requestAnimationFrame(frame);
      }
    };
    requestAnimationFrame(frame);
  }

  place(path, [turn, x, y]) {
    Object.assign(path.dataset, { turn, x, y });
    const angle = (turn * Math.PI) / 180;
    const cos = Math.cos(angle);
    const sin = Math.sin(angle);
    const { width } = this.roll;
    path.setAttribute("transform", `matrix(${cos} ${-sin} ${-sin} ${-cos} ${x} ${width - y})`);
    const shape = this.shapes[path.dataset.piece];
    const text = this.roll.texts.querySelector(`[data-number="${path.dataset.piece}"]`);
    const across = y + sin * shape.x + cos * shape.y;
    this.roll.put(text, x + cos * shape.x - sin * shape.y, width - across);
  }
}

/** Part of the way from one lie to another, turned the shorter way round. */
function between(was, is, part) {
  const turn = ((is[0] - was[0] + 540) % 360) - 180;
  return [
    was[0] + part * turn,
    was[1] + part * (is[1] - was[1]),
    was[2] + part * (is[2] - was[2]),
  ];
}
