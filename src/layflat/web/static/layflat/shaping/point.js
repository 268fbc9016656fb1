// A tap on the flat picture writes its place into the fields of a point, the one before it beside.
const picture = document.querySelector("#flat");
const cross = document.querySelector("#point");
const field = (name) => document.querySelector(`input[name="${name}"]`);

function show() {
  const x = Number.parseFloat(field("x").value.replace(",", "."));
  const y = Number.parseFloat(field("y").value.replace(",", "."));
  const known = Number.isFinite(x) && Number.isFinite(y);
  cross.toggleAttribute("hidden", !known);
  if (known) cross.setAttribute("transform", `translate(${x} ${-y})`);
}

picture.addEventListener("click", (event) => {
  const tapped = new DOMPoint(event.clientX, event.clientY);
  const place = tapped.matrixTransform(picture.getScreenCTM().inverse());
  field("x2").value = field("x").value;
  field("y2").value = field("y").value;
  field("x").value = place.x.toFixed(1);
  field("y").value = (-place.y).toFixed(1);
  show();
});
for (const name of ["x", "y"]) field(name).addEventListener("input", show);
picture.classList.add("takes-taps");
show();
