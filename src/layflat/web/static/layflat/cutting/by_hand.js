// The page on which pieces are arranged by hand: dragged, moved by keys, turned, pinned, undone.

import { follow } from "./by_hand_drag.js";
import { History } from "./by_hand_history.js";
import { Judge } from "./by_hand_judge.js";
import { Picture } from "./by_hand_picture.js";
import { called, filmWords, findingWords, fineWords } from "./by_hand_words.js";

const NEAR_MM = 40;
const SNAP_PX = 8;
const TENTH = 10;
const MOST_SHOWN = 8;
const ARROWS = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down" };

class ByHand {
  constructor(page, outlines, shapes) {
    this.page = page;
    this.film = JSON.parse(page.dataset.film);
    const lies = JSON.parse(page.dataset.lies).map(([piece, turn, x, y, pinned]) => {
      return { piece, turn, x, y, pinned };
    });
    this.history = new History(lies, page.dataset.keptAs);
    this.lies = this.history.now.map((lie) => ({ ...lie }));
    this.chosen = 0;
    this.judge = new Judge(
      this.film,
      this.lies.map((lie) => ({ number: lie.piece, rings: outlines[lie.piece], lie })),
    );
    this.svg = page.querySelector(".roll-picture");
    this.picture = new Picture(this.svg, shapes, this.film);
    this.picture.refine(outlines);
    this.select = document.getElementById("hand-piece");
    this.says = document.getElementById("hand-says");
    this.verdict = document.getElementById("hand-verdict");
    this.told = document.getElementById("hand-told");
    this.list = document.getElementById("hand-findings");
    this.listen();
    for (const lie of this.lies) {
      this.picture.place(lie);
    }
    this.choose(this.lies.findIndex(({ piece }) => piece === Number(this.select.value)));
    this.look();
    if (this.history.wasFound) {
      this.says.textContent = "Your arrangement from before is here again.";
    }
  }

  listen() {
    this.svg.setAttribute("role", "application");
    this.svg.setAttribute("tabindex", "0");
    this.svg.setAttribute("aria-label", "Pieces on the roll");
    this.svg.setAttribute("aria-describedby", "hand-help");
    this.svg.removeAttribute("focusable");
    this.svg.addEventListener("keydown", (event) => this.key(event));
    document.addEventListener("keydown", (event) => this.backAndForth(event));
    for (const [number, path] of this.picture.paths) {
      const index = this.lies.findIndex(({ piece }) => piece === number);
      path.addEventListener("pointerdown", (event) => this.grip(event, path, index));
      path.addEventListener("click", () => this.choose(index));
      // A finger on what it has chosen must not scroll the page; shapes' touch-action is not enough.
      path.addEventListener(
        "touchstart",
        (event) => {
          if (index === this.chosen && !this.lie.pinned && event.touches.length === 1) {
            event.preventDefault();
          }
        },
        { passive: false },
      );
    }
    this.select.addEventListener("change", () => {
      this.choose(this.lies.findIndex(({ piece }) => piece === Number(this.select.value)));
    });
    const on = (name, act) => this.page.querySelector(name).addEventListener("click", act);
    on("[data-undo]", () => this.go(-1));
    on("[data-redo]", () => this.go(1));
    on("[data-as-it-was]", () => this.take(this.history.first));
    on("button[data-turn]", () => this.turn());
    on("[data-pin]", () => this.pin());
    on("[data-close]", ({ currentTarget }) => {
      const isClose = currentTarget.getAttribute("aria-pressed") !== "true";
      currentTarget.setAttribute("aria-pressed", String(isClose));
      currentTarget.textContent = isClose ? "Whole roll" : "Close up";
      this.picture.close(isClose);
    });
    for (const button of this.page.querySelectorAll("[data-move]")) {
      button.addEventListener("click", () => this.step(button.dataset.move));
    }
    for (const form of this.page.querySelectorAll("form[data-hand]")) {
      form.addEventListener("submit", () => {
        const rows = this.lies.map(({ piece, turn, x, y, pinned }) => [piece, turn, x, y, pinned]);
        form.elements.arrangement.value = JSON.stringify(rows);
      });
    }
  }

  get lie() {
    return this.lies[this.chosen];
  }

  choose(index) {
    this.chosen = index;
    this.select.value = String(this.lie.piece);
    this.picture.choose(this.lie.piece, this.judge.shapes[index].box);
    this.tell();
  }

  /** Whether the chosen piece may be moved; says why not. */
  mayMove() {
    if (this.lie.pinned) {
      this.says.textContent = `Piece ${called(this.lie.piece)} is pinned; unpin it to move it.`;
    }
    return !this.lie.pinned;
  }

  put(lie) {
    const index = this.lies.findIndex(({ piece }) => piece === lie.piece);
    this.lies[index] = lie;
    this.judge.put(index, lie);
    this.picture.place(lie);
  }

  moveTo(x, y) {
    this.put({ ...this.lie, x, y });
  }

  /** What is done is a step that can be taken back. */
  done(kind = "") {
    this.judge.settle(this.chosen);
    this.history.add(
      this.lies.map((lie) => ({ ...lie })),
      kind,
    );
    this.picture.closeTo = this.judge.shapes[this.chosen].box;
    this.look();
  }

  step(name) {
    const [dx, dy] = this.picture.rollWay(name);
    const asked = this.page.querySelector("input[name=step]:checked").value;
    if (asked === "gap") {
      this.slide(dx, dy);
    } else {
      this.nudge(dx, dy, Number(asked));
    }
  }

  nudge(dx, dy, mm) {
    if (this.mayMove()) {
      const { piece, x, y } = this.lie;
      const [x0, y0] = this.judge.shapes[this.chosen].box;
      const [left, low] = this.onRoll(x0 + dx * mm, y0 + dy * mm);
      this.moveTo(x + left - x0, y + low - y0);
      this.done(`nudge ${piece} ${mm}`);
    }
  }

  /** Where the chosen piece's box begins so that it lies on what is drawn of the roll. */
  onRoll(left, low) {
    const [x0, y0, x1, y1] = this.judge.shapes[this.chosen].box;
    return [
      Math.max(0, Math.min(this.picture.roll.length - (x1 - x0), left)),
      Math.max(0, Math.min(this.film.width - (y1 - y0), low)),
    ];
  }

  slide(dx, dy) {
    if (!this.mayMove()) {
      return;
    }
    const way = this.judge.slide(this.chosen, dx, dy);
    if (way > 0) {
      this.moveTo(this.lie.x + dx * way, this.lie.y + dy * way);
      this.done();
    } else {
      this.says.textContent = `Piece ${called(this.lie.piece)} goes no farther that way.`;
    }
  }

  turn() {
    if (!this.mayMove()) {
      return;
    }
    const turns = this.film.turns[this.lie.piece];
    const next = turns[(turns.indexOf(this.lie.turn) + 1) % turns.length];
    // About the middle of its box, so that it stays where one looks.
    const was = middle(this.judge.shapes[this.chosen].box);
    this.put({ ...this.lie, turn: next });
    const is = middle(this.judge.shapes[this.chosen].box);
    this.moveTo(this.lie.x + was[0] - is[0], this.lie.y + was[1] - is[1]);
    this.done();
  }

  pin() {
    this.put({ ...this.lie, pinned: !this.lie.pinned });
    this.done();
  }

  key(event) {
    const name = ARROWS[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (name !== undefined) {
      const [dx, dy] = this.picture.rollWay(name);
      this.nudge(dx, dy, event.shiftKey ? 10 : 1);
    } else if (event.key === "PageDown" || event.key === "PageUp") {
      const numbers = [...this.select.options].map((option) => Number(option.value));
      const by = event.key === "PageDown" ? 1 : numbers.length - 1;
      const next = numbers[(numbers.indexOf(this.lie.piece) + by) % numbers.length];
      this.choose(this.lies.findIndex(({ piece }) => piece === next));
    } else if (event.key === "r" || event.key === "R") {
      this.turn();
    } else if (event.key === "p" || event.key === "P") {
      this.pin();
    } else {
      return;
    }
    event.preventDefault();
  }

  backAndForth(event) {
    const isTyping = event.target.matches("input[type=text], textarea");
    if (!(event.ctrlKey || event.metaKey) || event.altKey || isTyping) {
      return;
    }
    const key = event.key.toLowerCase();
    if (key === "z" || key === "y") {
      event.preventDefault();
      this.go(key === "y" || event.shiftKey ? 1 : -1);
    }
  }

  go(by) {
    this.history.go(by);
    this.takeOver();
  }

  take(lies) {
    this.history.add(
      lies.map((lie) => ({ ...lie })),
      "",
    );
    this.takeOver();
  }

  takeOver() {
    for (const lie of this.history.now) {
      this.put({ ...lie });
    }
    this.picture.closeTo = this.judge.shapes[this.chosen].box;
    this.look();
  }

  /** A mouse takes hold of any piece; a finger of the one that it has chosen, else the page scrolls. */
  grip(event, path, index) {
    const isChosen = index === this.chosen;
    if (event.button !== 0 || (event.pointerType === "touch" && !isChosen)) {
      return;
    }
    this.choose(index);
    this.svg.focus({ preventScroll: true });
    if (this.lie.pinned) {
      this.mayMove();
      return;
    }
    const was = { ...this.lie };
    follow(path, event, (x, y) => this.picture.rollPlace(x, y), {
      drawn: (dx, dy) => this.drag(was, dx, dy),
      dropped: (dx, dy) => {
        this.drag(was, dx, dy);
        this.done();
      },
      cancelled: () => {
        this.put(was);
        this.look();
      },
    });
  }

  drag(was, dx, dy) {
    const [x0, y0, , y1] = this.judge.shapes[this.chosen].box;
    const { x, y } = this.lie;
    const { width, edge, end } = this.film;
    const snap = SNAP_PX * this.picture.roll.scale;
    const near = (value, wanted) => (Math.abs(value - wanted) < snap ? wanted : value);
    const tenths = (value) => Math.round(value * TENTH) / TENTH;
    // The box of the piece as it would lie, drawn to the margins and held to the roll.
    const wanted = near(tenths(was.y + dy) + y0 - y, edge);
    const [left, low] = this.onRoll(
      near(tenths(was.x + dx) + x0 - x, end),
      near(wanted + (y1 - y0), width - edge) - (y1 - y0),
    );
    this.moveTo(left - x0 + x, low - y0 + y);
    this.look(true);
  }

  /** Judge, and show what is found; while a piece is drawn along only on the picture and in words. */
  look(isMoving = false) {
    const made = this.judge.judge();
    const numberOf = (index) => this.lies[index].piece;
    const { inches, used } = this.film;
    this.picture.show({
      sections: made.sections,
      length: made.length,
      before: used,
      findings: made.findings.map((finding) => ({
        ...finding,
        // What is too long together is told by its own line, not by every piece of it.
        pieces: finding.fault === "section" ? [] : finding.pieces.map(numberOf),
        label: this.labelOf(finding),
      })),
      pinned: this.lies.filter(({ pinned }) => pinned),
    });
    this.page.querySelector("[data-now]").textContent = filmWords(Math.ceil(made.length - 1e-6), inches);
    const more = Math.round(made.length - used);
    const sign = more > 0 ? "more" : "less";
    this.page.querySelector("[data-difference]").textContent =
      more === 0 ? "none" : `${filmWords(Math.abs(more), inches)} ${sign}`;
    this.page.querySelector("[data-sections-now]").textContent = String(made.sections.length);
    this.find(made.findings, numberOf);
    if (!isMoving) {
      this.page.querySelector("[data-undo]").disabled = !this.history.canUndo;
      this.page.querySelector("[data-redo]").disabled = !this.history.canRedo;
      this.page.querySelector("[data-as-it-was]").disabled = this.history.isAsItWas;
      this.tell();
      this.told.textContent = this.verdict.textContent;
    }
  }

  labelOf({ fault, amount }) {
    const words = { overlap: "overlap", section: "section too long" };
    if (fault in words) {
      return words[fault];
    }
    return amount === null ? "fault" : fineWords(amount, this.film.inches);
  }

  /** The verdict in one line, and all of it in a list. */
  find(findings, numberOf) {
    const all = findings.map((finding) => findingWords(finding, numberOf, this.film));
    const more = all.length > 1 ? ` And ${all.length - 1} more.` : "";
    const words = all.length === 0 ? "Gaps and margins are kept" : `${all[0]}${more}`;
    if (this.verdict.textContent !== words) {
      this.verdict.textContent = words;
      this.verdict.className = `hand-verdict state ${all.length === 0 ? "done" : "late"}`;
    }
    const shown = all.length === 0 ? ["Nothing: it may be cut like this."] : all.slice(0, MOST_SHOWN);
    if (all.length > MOST_SHOWN) {
      shown.push(`And ${all.length - MOST_SHOWN} more.`);
    }
    const rows = shown.map((text) => {
      const row = document.createElement("li");
      row.textContent = text;
      return row;
    });
    this.list.replaceChildren(...rows);
  }

  /** How the chosen piece lies, and what is nearest to it. */
  tell() {
    const { piece, turn, pinned } = this.lie;
    const [x0, y0] = this.judge.shapes[this.chosen].box;
    const fine = (mm) => fineWords(mm, this.film.inches);
    const next = this.judge.neighbour(this.chosen, NEAR_MM);
    const near =
      next === null
        ? `nothing within ${fine(NEAR_MM)}`
        : next.distance === 0
          ? `on piece ${called(this.lies[next.index].piece)}`
          : `${fine(next.distance)} to piece ${called(this.lies[next.index].piece)}`;
    this.says.textContent =
      `Piece ${called(piece)} begins ${fine(x0)} along and ${fine(y0)} across, turned by ${turn}°; ${near}.` +
      (pinned ? " It is pinned." : "");
    const pin = this.page.querySelector("[data-pin]");
    pin.setAttribute("aria-pressed", String(pinned));
    pin.textContent = pinned ? "Unpin it" : "Pin it here";
    const button = this.page.querySelector("button[data-turn]");
    const turns = this.film.turns[piece];
    const after = turns[(turns.indexOf(turn) + 1) % turns.length];
    button.textContent = turns.length > 1 ? `Turn to ${after}°` : "It may not be turned";
    button.disabled = pinned || turns.length < 2;
    for (const move of this.page.querySelectorAll("[data-move]")) {
      move.disabled = pinned;
    }
  }
}

function middle([x0, y0, x1, y1]) {
  return [(x0 + x1) / 2, (y0 + y1) / 2];
}

async function begin(page) {
  const [outlines, shapes] = await Promise.all(
    [page.dataset.outlines, page.dataset.shapes].map(async (address) => {
      const answer = await fetch(address, { headers: { Accept: "application/json" } });
      if (!answer.ok || answer.redirected) {
        throw new Error(`status ${answer.status}`);
      }
      return (await answer.json()).pieces;
    }),
  );
  return new ByHand(page, outlines, shapes);
}

const page = document.getElementById("by-hand");
begin(page).catch(() => {
  const verdict = document.getElementById("hand-verdict");
  verdict.className = "hand-verdict state late";
  verdict.textContent = "The outlines did not load; load the page again";
});
