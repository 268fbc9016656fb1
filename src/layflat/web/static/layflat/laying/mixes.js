// Slip and tack while numbers are typed; the same sums as `layflat.web.laying.mixes`. Without this
// script, or where a number is out of bounds, the form is answered by the server.

const form = document.getElementById("mixes");

const shown = (ml) => (ml < 20 ? `${ml.toFixed(1)} ml` : `${ml.toFixed(0)} ml`);

function valueOf(name) {
  const field = form.elements.namedItem(name);
  const { least, most, usual } = field.dataset;
  const text = field.value.trim().replace(",", ".");
  const value = text === "" ? Number(usual) : Number(text);
  const isGood = Number.isFinite(value) && value >= Number(least) && value <= Number(most);
  field.toggleAttribute("aria-invalid", false);
  if (!isGood) {
    field.setAttribute("aria-invalid", "true");
  }
  return isGood ? value : null;
}

function write(name, ml) {
  const place = form.querySelector(`[data-mix="${name}"]`);
  if (place) {
    place.textContent = ml === null ? "–" : shown(ml);
  }
}

function work() {
  const [amount, shampoo, tack, bottle] = ["amount", "shampoo", "tack", "bottle"].map(valueOf);
  const soap = amount === null || shampoo === null ? null : (amount * shampoo) / 1000;
  write("shampoo", soap);
  write("slip-water", soap === null ? null : amount - soap);
  const isKnown = amount !== null && tack !== null && bottle !== null;
  const alcohol = isKnown ? (amount * tack) / bottle : null;
  write("alcohol", alcohol);
  write("tack-water", alcohol === null ? null : amount - alcohol);
}

form?.addEventListener("input", work);
