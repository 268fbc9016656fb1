// Where a place lies on a piece's flat picture, and the pennant that is not noted yet.
const SVG = "http://www.w3.org/2000/svg";

export class Place {
  constructor(picture) {
    this.picture = picture;
    this.numbers = picture.dataset.toMap.split(" ").map(Number);
    this.pen = Number(picture.dataset.pen);
    const box = picture.viewBox.baseVal;
    [this.width, this.height] = [box.width, box.height];
  }

  middle() {
    return [this.width / 2, this.height / 2];
  }

  within(x, y) {
    return [Math.min(Math.max(x, 0), this.width), Math.min(Math.max(y, 0), this.height)];
  }

  toMap(x, y) {
    const [a, b, c, d, e, f] = this.numbers;
    return this.within(a * x + c * y + e, b * x + d * y + f);
  }

  fromMap(across, down) {
    const [a, b, c, d, e, f] = this.numbers;
    const size = a * d - b * c;
    const [p, q] = [across - e, down - f];
    return [(d * p - c * q) / size, (a * q - b * p) / size];
  }

  // The flat point, in millimetres, at which somebody points.
  flatAt(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      this.picture.getScreenCTM().inverse(),
    );
    return this.fromMap(...this.within(at.x, at.y));
  }
}

function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    made.setAttribute(key, value);
  }
  return made;
}

export function takeAway() {
  for (const old of document.querySelectorAll(".check-pennant.wanted")) {
    old.remove();
  }
}

export function draw(picture, [x, y]) {
  const pen = picture.dataset.pen;
  const mark = element("g", {
    class: "check-pennant wanted",
    transform: `translate(${x.toFixed(1)} ${y.toFixed(1)}) scale(${pen})`,
  });
  mark.append(
    element("path", { class: "mast", d: "M0 0V-40" }),
    element("path", { class: "flag", d: "M0 -40h34l-7 9 7 9H0z" }),
  );
  picture.append(mark);
}
