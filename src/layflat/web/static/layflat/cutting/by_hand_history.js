// What was done by hand, step by step: back, forth, and kept in this tab until it is sent.

const SAME_MS = 1200;

export class History {
  /**
   * @param lies {piece, turn, x, y, pinned} each, as they were found
   * @param keptAs the name under which this tab keeps them
   */
  constructor(lies, keptAs) {
    this.keptAs = keptAs;
    this.first = lies;
    this.steps = [lies];
    this.at = 0;
    this.lastKind = "";
    this.lastTime = 0;
    this.wasFound = this.recall();
  }

  get now() {
    return this.steps[this.at];
  }

  get canUndo() {
    return this.at > 0;
  }

  get canRedo() {
    return this.at < this.steps.length - 1;
  }

  get isAsItWas() {
    return JSON.stringify(this.now) === JSON.stringify(this.first);
  }

  /** A new state. Small moves of one kind shortly after each other are one step. */
  add(lies, kind) {
    const time = performance.now();
    const isSame = kind !== "" && kind === this.lastKind && time - this.lastTime < SAME_MS;
    if (isSame && this.at > 0 && !this.canRedo) {
      this.steps[this.at] = lies;
    } else {
      this.steps = [...this.steps.slice(0, this.at + 1), lies];
      this.at += 1;
    }
    this.lastKind = kind;
    this.lastTime = time;
    this.keep();
  }

  go(by) {
    this.at = Math.max(0, Math.min(this.steps.length - 1, this.at + by));
    this.lastKind = "";
    this.keep();
  }

  keep() {
    try {
      sessionStorage.setItem(this.keptAs, JSON.stringify(this.now));
    } catch {
      // Without room for it, the arrangement lives as long as the page.
    }
  }

  /** What this tab kept of the same pieces becomes the next step. */
  recall() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(this.keptAs) ?? "null");
      const names = (lies) => lies.map(({ piece }) => piece).join();
      const isUsable =
        Array.isArray(kept) &&
        names(kept) === names(this.first) &&
        kept.every(({ turn, x, y }) => [turn, x, y].every(Number.isFinite));
      if (!isUsable || JSON.stringify(kept) === JSON.stringify(this.first)) {
        return false;
      }
      this.steps = [this.first, kept];
      this.at = 1;
      return true;
    } catch {
      return false;
    }
  }
}
