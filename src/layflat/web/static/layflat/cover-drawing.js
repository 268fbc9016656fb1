// A line being drawn on one panel: points tapped one after another, traced on the surface as they come,
// then a tap on the side that gets film.
const says = document.getElementById("drawing-says");
const bar = document.getElementById("drawing");
const done = document.getElementById("drawing-done");
const undo = document.getElementById("drawing-undo");
const cancel = document.getElementById("drawing-cancel");

export class Drawing {
  constructor({ viewer, panel, title, address, token, done: finish }) {
    Object.assign(this, { viewer, panel, title, address, token, finish });
    this.points = [];
    this.traced = null;
    this.fault = "";
    this.asksSide = false;
    this.asked = 0;
    this.ending = new AbortController();
    const { signal } = this.ending;
    done.addEventListener("click", () => this.lineDone(), { signal });
    undo.addEventListener("click", () => this.undo(), { signal });
    cancel.addEventListener("click", () => this.end(), { signal });
    document.addEventListener(
      "keydown",
      (event) => {
        if (event.key === "Escape") {
          this.end();
        }
      },
      { signal },
    );
    bar.hidden = false;
    viewer.classList.add("draws");
    viewer.scrollIntoView({ block: "nearest" });
    this.send("viewer-look", panel);
    this.show();
    this.tell();
    cancel.focus({ preventScroll: true });
  }

  tap({ x, y, z }) {
    const point = [x, y, z].map((value) => Math.round(100 * value) / 100);
    if (this.asksSide) {
      this.close();
      this.finish(this.points, point);
      return;
    }
    this.points.push(point);
    this.trace();
  }

  undo() {
    if (this.asksSide) {
      this.asksSide = false;
    } else {
      this.points.pop();
    }
    this.trace();
  }

  lineDone() {
    if (this.traced) {
      this.asksSide = true;
    }
    this.tell();
  }

  end() {
    this.close();
    this.finish(null, null);
  }

  close() {
    this.ending.abort();
    bar.hidden = true;
    this.viewer.classList.remove("draws");
    this.send("viewer-mark", []);
  }

  // Asks how the line runs on the surface; what was asked before a newer point is not heard.
  async trace() {
    const asked = ++this.asked;
    this.traced = null;
    this.fault = "";
    this.show();
    this.tell();
    if (this.points.length < 2) {
      return;
    }
    const answer = await fetch(this.address, {
      method: "POST",
      headers: { "X-CSRFToken": this.token },
      body: new URLSearchParams({ panel: this.panel, line: JSON.stringify(this.points) }),
      signal: this.ending.signal,
    }).catch(() => null);
    if (asked !== this.asked || this.ending.signal.aborted) {
      return;
    }
    const found = answer?.ok ? await answer.json() : { fault: "The line could not be traced; try again." };
    this.traced = found.line ?? null;
    this.fault = found.fault ?? "";
    this.show();
    this.tell();
  }

  show() {
    const line = this.traced ?? this.points;
    this.send("viewer-lines", line.length > 1 ? [line] : []);
    this.send(
      "viewer-mark",
      this.points.map(([x, y, z], i) => ({ x, y, z, label: String(i + 1), kind: "point" })),
    );
  }

  tell() {
    undo.disabled = this.points.length === 0;
    done.hidden = this.asksSide || this.points.length < 2;
    done.disabled = !this.traced;
    says.textContent = this.words();
  }

  words() {
    const on = this.title.charAt(0).toLowerCase() + this.title.slice(1);
    if (this.asksSide) {
      return `Now tap the side of the ${on} that gets film.`;
    }
    if (this.points.length === 0) {
      return `Tap where the line begins: near an edge of the ${on}.`;
    }
    if (this.points.length === 1) {
      return "Tap the next point; the last one near another edge.";
    }
    return this.fault || "Tap further points, or say that the line is done.";
  }

  send(name, detail) {
    this.viewer.dispatchEvent(new CustomEvent(name, { detail }));
  }
}
