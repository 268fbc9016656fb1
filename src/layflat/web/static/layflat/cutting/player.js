// The simulated cut: the way of the blade's tip, played, stopped, stepped line by line, or drawn along.

import { element } from "./roll.js";

const TIMES = 20;
const STEP_MS = 800;
const TIP_PX = 7;
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

export class Player {
  constructor(place, roll) {
    this.place = place;
    this.roll = roll;
    this.bar = place.querySelector(".player-bar");
    this.says = place.querySelector(".player-says");
    this.range = place.querySelector("input[type=range]");
    this.button = place.querySelector("[data-play]");
    this.opener = place.querySelector("[data-open]");
    this.time = 0;
    this.isPlaying = false;
    this.opener.addEventListener("click", () => this.open());
    this.button.addEventListener("click", () => this.toggle());
    this.range.addEventListener("input", () => this.seek());
    for (const step of place.querySelectorAll("[data-step]")) {
      step.addEventListener("click", () => this.step(Number(step.dataset.step)));
    }
  }

  async open() {
    this.opener.disabled = true;
    try {
      const answer = await fetch(this.place.dataset.player);
      if (!answer.ok) {
        throw new Error(`status ${answer.status}`);
      }
      this.read(await answer.json());
    } catch {
      this.opener.disabled = false;
      this.opener.textContent = "Did not load; try again";
      return;
    }
    this.opener.hidden = true;
    this.bar.hidden = false;
    this.show();
    this.button.focus();
  }

  read(cut) {
    let time = 0;
    const width = cut.width_mm;
    this.lines = cut.lines.map((line) => {
      const points = [];
      for (let i = 0; i < line.points.length; i += 2) {
        points.push([this.roll.start + line.points[i], width - line.points[i + 1]]);
      }
      const found = { ...line, points, from: time, to: time + line.seconds };
      found.along = distances(points);
      time = found.to;
      return found;
    });
    this.total = time;
    const group = this.roll.picture.querySelector("[data-lines]");
    for (const line of this.lines) {
      const base = line.down ? "way ahead" : "way up";
      line.ahead = element("path", { class: base, d: path(line.points) });
      line.done = element("path", { class: line.down ? "way cut" : "way up", d: "" });
      if (line.down) {
        group.append(line.ahead);
      }
      group.append(line.done);
    }
    this.tip = element("circle", { class: "way tip", r: 1 });
    group.append(this.tip);
  }

  get current() {
    const found = this.lines.findIndex((line) => this.time < line.to);
    return found < 0 ? this.lines.length - 1 : found;
  }

  toggle() {
    if (this.isPlaying) {
      this.pause();
      return;
    }
    if (this.time >= this.total) {
      this.time = 0;
    }
    this.isPlaying = true;
    this.button.textContent = "Pause";
    if (calm.matches) {
      this.stepper = setInterval(() => this.step(1, true), STEP_MS);
      return;
    }
    let before = performance.now();
    const frame = (now) => {
      if (!this.isPlaying) {
        return;
      }
      this.time = Math.min(this.total, this.time + (TIMES * (now - before)) / 1000);
      before = now;
      this.show();
      if (this.time >= this.total) {
        this.pause();
      } else {
        requestAnimationFrame(frame);
      }
    };
    requestAnimationFrame(frame);
  }

  pause() {
    this.isPlaying = false;
    clearInterval(this.stepper);
    this.button.textContent = "Play";
  }

  seek() {
    this.pause();
    this.time = (this.total * Number(this.range.value)) / Number(this.range.max);
    this.show();
  }

  /** To the end of the next line that is cut, or of the one before. */
  step(by, isPlayed = false) {
    if (!isPlayed) {
      this.pause();
    }
    const ends = [0, ...this.lines.filter((line) => line.down).map((line) => line.to)];
    const here = this.time;
    const next =
      by > 0 ? ends.find((end) => end > here + 1e-9) : ends.findLast((end) => end < here - 1e-9);
    this.time = next ?? (by > 0 ? this.total : 0);
    this.show();
    if (isPlayed && next === undefined) {
      this.pause();
    }
  }

  show() {
    const now = this.current;
    this.lines.forEach((line, place) => {
      const isDone = place < now || this.time >= line.to;
      const part = isDone ? 1 : place > now ? 0 : (this.time - line.from) / (line.seconds || 1);
      // With the knife up only the way that it is on at the moment is shown.
      const isShown = line.down ? part > 0 : place === now && part < 1;
      line.done.setAttribute("d", isShown ? path(upTo(line, part)) : "");
      if (place === now) {
        const [x, y] = upTo(line, part).at(-1);
        this.tip.setAttribute("cx", x);
        this.tip.setAttribute("cy", y);
        this.tip.setAttribute("r", TIP_PX * this.roll.scale);
        this.tip.classList.toggle("is-up", !line.down);
      }
    });
    const line = this.lines[now];
    const cut = this.lines.filter((one) => one.down);
    const number = this.lines.slice(0, now + 1).filter((one) => one.down).length;
    const what = line.down
      ? `line ${number} of ${cut.length}${line.piece ? `, piece ${called(line.piece)}` : ", turning the blade"}`
      : "knife up, on its way";
    const words = `${clock(this.time)} of ${clock(this.total)}: ${what}`;
    this.says.textContent = words;
    this.range.setAttribute("aria-valuetext", words);
    if (document.activeElement !== this.range || this.isPlaying) {
      this.range.value = String(Math.round((1000 * this.time) / this.total));
    }
  }
}

// A piece's number within the layout as people read it: "B3" where jobs share the layout.
function called(number) {
  const step = Math.floor(number / 1000);
  return `${step ? String.fromCharCode(64 + step) : ""}${number % 1000}`;
}

function distances(points) {
  const found = [0];
  for (let i = 1; i < points.length; i += 1) {
    const [x, y] = points[i - 1];
    found.push(found[i - 1] + Math.hypot(points[i][0] - x, points[i][1] - y));
  }
  return found;
}

/** The points of a line up to a part of its length. */
function upTo(line, part) {
  if (part >= 1) {
    return line.points;
  }
  const wanted = part * line.along.at(-1);
  const last = line.along.findLastIndex((along) => along <= wanted);
  const found = line.points.slice(0, last + 1);
  if (last + 1 < line.points.length) {
    const share = (wanted - line.along[last]) / (line.along[last + 1] - line.along[last]);
    const [[x0, y0], [x1, y1]] = [line.points[last], line.points[last + 1]];
    found.push([x0 + share * (x1 - x0), y0 + share * (y1 - y0)]);
  }
  return found;
}

function path(points) {
  return `M${points.map(([x, y]) => `${x.toFixed(2)},${y.toFixed(2)}`).join("L")}`;
}

function clock(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
