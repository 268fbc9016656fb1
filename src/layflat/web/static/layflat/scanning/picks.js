// Points that say how the scan stands: three on the floor, or one on the left and one on the right.
const WORDS = {
  floor: [
    "Tap a place on the floor, or where a tyre stands on it.",
    "Tap a second one, well apart.",
    "Tap a third one, not in line with these.",
  ],
  pair: [
    "Tap a place on the vehicle's left that its right has, too.",
    "Tap the same place on the right.",
  ],
};

export class Picks {
  constructor({ viewer, address, token, seen, tell }) {
    Object.assign(this, { viewer, address, token, seen, tell });
    this.what = "";
    this.points = [];
  }

  get isOn() {
    return this.what !== "";
  }

  begin(what, count) {
    Object.assign(this, { what, count, points: [] });
    this.show();
    this.viewer.scrollIntoView({ block: "nearest" });
  }

  end() {
    this.what = "";
    this.points = [];
  }

  words() {
    return this.isOn ? WORDS[this.what][this.points.length] ?? "The scan is put upright anew …" : "";
  }

  take({ x, y, z }) {
    if (this.points.length >= this.count) {
      return;
    }
    this.points.push([x, y, z]);
    this.show();
    if (this.points.length === this.count) {
      this.submit();
    }
  }

  show() {
    const detail = this.points.map(([x, y, z], i) => ({ x, y, z, label: String(i + 1), kind: "" }));
    this.viewer.dispatchEvent(new CustomEvent("viewer-mark", { detail }));
    this.tell("");
  }

  // As a form, so that the page comes anew with how the scan stands then.
  submit() {
    const form = document.createElement("form");
    form.method = "post";
    form.action = this.address;
    const values = {
      csrfmiddlewaretoken: this.token(),
      seen: this.seen(),
      act: this.what,
      points: JSON.stringify(this.points),
    };
    for (const [name, value] of Object.entries(values)) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = value;
      form.append(field);
    }
    document.body.append(form);
    form.submit();
  }
}
