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

document.addEventListener("change", chosen);
document.addEventListener("layflat:refreshed", run);
setInterval(run, MINUTE_MS / 4);
run();
