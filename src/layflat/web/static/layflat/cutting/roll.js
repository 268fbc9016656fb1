// A layout's picture: along the page where there is room, down the page on a phone, with letters that
// can be read in either.

const NUMBER_PX = 17;
const NAME_PX = 14;
const SVG = "http://www.w3.org/2000/svg";

export function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    made.setAttribute(key, String(value));
  }
  return made;
}

export class Roll {
  constructor(picture) {
    this.picture = picture;
    this.width = Number(picture.dataset.width);
    this.start = Number(picture.dataset.start);
    this.length = Number(picture.dataset.length);
    this.upright = window.matchMedia("(max-width: 40rem)");
    this.lay = picture.querySelector("[data-lay]");
    this.texts = picture.querySelector("[data-texts]");
    for (const text of this.texts.children) {
      // Where it stands on the roll, whichever way that is drawn.
      text.dataset.px ??= text.getAttribute("x");
      text.dataset.py ??= text.getAttribute("y");
    }
    this.draw();
    this.upright.addEventListener("change", () => this.draw());
    new ResizeObserver(() => this.letters()).observe(picture);
  }

  /** How many millimetres a pixel is. */
  get scale() {
    const box = this.picture.viewBox.baseVal;
    const shown = this.picture.getBoundingClientRect();
    return shown.width > 0 ? Math.max(box.width / shown.width, box.height / shown.height) : 0;
  }

  draw() {
    const hasNames = this.texts.querySelector("[data-section]") !== null;
    if (this.upright.matches) {
      this.lay.setAttribute("transform", `matrix(0 1 -1 0 ${this.width} 0)`);
      const view = [-8, this.start - 8, this.width + 16, this.length + 16];
      this.picture.setAttribute("viewBox", view.join(" "));
    } else {
      this.lay.removeAttribute("transform");
      // Names stand above the film and what is least below it; a short wide film is drawn smaller,
      // its names are not.
      const named = Math.max(this.length / 36, this.width / 24);
      const room = hasNames ? named : this.length / 100;
      const below = this.texts.querySelector(".roll-least") ? named : this.length / 100;
      const view = [this.start - 4, -room, this.length + 8, this.width + room + below];
      this.picture.setAttribute("viewBox", view.join(" "));
    }
    this.letters();
  }

  letters() {
    const scale = this.scale;
    if (scale === 0) {
      return;
    }
    for (const text of this.texts.children) {
      const isName = text.matches(".roll-name");
      const x = Number(text.dataset.px);
      const y = Number(text.dataset.py);
      const isUpright = this.upright.matches;
      const size = (isName ? NAME_PX : NUMBER_PX) * scale;
      if (isUpright && text.dataset.start !== undefined) {
        // Above its first pieces there is no room beside the roll on a phone.
        text.setAttribute("x", this.width / 2);
        text.setAttribute("y", Number(text.dataset.start) + 1.8 * size);
      } else {
        text.setAttribute("x", isUpright ? this.width - y : x);
        text.setAttribute("y", isUpright ? x : y);
      }
      text.setAttribute("font-size", size);
    }
  }

  /** Put a text at a place of the roll. */
  put(text, x, y) {
    text.dataset.px = String(x);
    text.dataset.py = String(y);
    const isUpright = this.upright.matches;
    text.setAttribute("x", isUpright ? this.width - y : x);
    text.setAttribute("y", isUpright ? x : y);
  }
}
