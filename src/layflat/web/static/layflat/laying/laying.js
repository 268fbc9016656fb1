// The tab "Lay": how long a piece has been in hand, and who lays, as chosen last.

const MINUTE_MS = 60_000;

function words(since) {
  const minutes = Math.max(0, Math.floor((Date.now() - since) / MINUTE_MS));
  const [hours, rest] = [Math.floor(minutes / 60), minutes % 60];
  return hours ? `for ${hours} h ${rest} min` : `for ${rest} min`;
}

// The server says since when; a running time is nearer to what one wants to know.
function run() {
  for (const time of document.querySelectorAll("time.lay-since")) {
    const text = words(Date.parse(time.dateTime));
    if (time.textContent !== text) {
      time.textContent = text;
    }
  }
}

// Whoever lays one piece mostly lays the next one too.
function chosen(event) {
  const box = event.target;
  if (!box.matches(".lay-hand input")) {
    return;
  }
  for (const other of document.querySelectorAll(`.lay-hand input[value="${box.value}"]`)) {
    other.checked = box.checked;
  }
}

// While laying waits for something, a tap says for what. What is kept on the tablet may have opened
// it: then the tap is kept as well, and judged where all of them arrive.
function begun(event) {
  const form = event.target;
  const isKept = document.querySelector("[data-tap-state=keeping], [data-tap-state=kept]") !== null;
  if (!form.matches("form[data-lay-waits]") || isKept) {
    return;
  }
  event.preventDefault();
  form.querySelector(".lay-why")?.remove();
  const why = document.createElement("p");
  why.className = "lay-why caution";
  why.setAttribute("role", "alert");
  why.setAttribute("data-own", "");
  form.append(why);
  why.textContent = `Not yet: ${document.getElementById("lay-not-now").textContent.trim()}`;
}

function refreshed() {
  run();
  for (const why of document.querySelectorAll("form:not([data-lay-waits]) > .lay-why")) {
    why.remove();
  }
}

document.addEventListener("submit", begun, true);
document.addEventListener("change", chosen);
document.addEventListener("layflat:refreshed", refreshed);
setInterval(run, MINUTE_MS / 4);
run();
