// The page in the bay: one part at a time, and all of it kept for when the network is gone.

const bay = document.querySelector(".bay");
const nav = document.querySelector(".bay-tabs");
const tabs = [...document.querySelectorAll(".bay-tabs a")];
const panels = tabs.map((tab) => document.getElementById(tab.hash.slice(1)));

// Parts

function choose(chosen, { focus = false } = {}) {
  tabs.forEach((tab, place) => {
    const isChosen = place === chosen;
    tab.setAttribute("aria-selected", String(isChosen));
    tab.tabIndex = isChosen ? 0 : -1;
    panels[place].hidden = !isChosen;
  });
  if (focus) {
    tabs[chosen].focus();
  }
  history.replaceState(null, "", tabs[chosen].hash);
}

function keyed(event) {
  const here = tabs.indexOf(document.activeElement);
  const last = tabs.length - 1;
  const moves = { ArrowRight: here + 1, ArrowLeft: here - 1, Home: 0, End: last };
  if (here < 0 || !(event.key in moves)) {
    return;
  }
  event.preventDefault();
  choose((moves[event.key] + tabs.length) % tabs.length, { focus: true });
}

/** The part that the address names, or that holds what it names; the first otherwise. */
function named() {
  const target = location.hash && document.getElementById(location.hash.slice(1));
  return Math.max(
    panels.findIndex((panel) => panel.contains(target || null)),
    0,
  );
}

function arrange() {
  const list = nav.querySelector("ul");
  list.setAttribute("role", "tablist");
  list.setAttribute("aria-label", nav.getAttribute("aria-label"));
  nav.setAttribute("role", "presentation");
  nav.removeAttribute("aria-label");
  tabs.forEach((tab, place) => {
    tab.parentElement.setAttribute("role", "presentation");
    tab.setAttribute("role", "tab");
    tab.setAttribute("aria-controls", panels[place].id);
    panels[place].setAttribute("role", "tabpanel");
    tab.addEventListener("click", (event) => {
      event.preventDefault();
      choose(place);
    });
  });
  list.addEventListener("keydown", keyed);
  window.addEventListener("hashchange", () => choose(named()));
  const target = location.hash && document.getElementById(location.hash.slice(1));
  choose(named());
  if (target && !panels.includes(target)) {
    target.scrollIntoView();
  }
}

// Keeping the page

/** Every file of this page, also those that show later, such as pictures in another part. */
function addresses() {
  const used = performance.getEntriesByType("resource").map((entry) => entry.name);
  const shown = [...document.querySelectorAll("img[src], [data-prefetch]")].map((element) =>
    new URL(element.dataset.prefetch ?? element.src, location.href).toString(),
  );
  const page = location.origin + location.pathname;
  return [...new Set([page, ...used, ...shown])].filter((one) => one.startsWith(location.origin));
}

async function keepPage() {
  try {
    await navigator.serviceWorker.register(bay.dataset.worker);
    const { active } = await navigator.serviceWorker.ready;
    active.postMessage({ keep: addresses() });
  } catch {
    // The page works without; what cannot be opened again is said by the strip.
    document.getElementById("taps-strip")?.dispatchEvent(new CustomEvent("layflat:stay-open"));
  }
}

if (tabs.length > 0) {
  arrange();
}
// Also what lies in parts that are not shown yet: the network may be gone by then.
for (const picture of document.querySelectorAll(".bay img[loading=lazy]")) {
  picture.loading = "eager";
}
if ("serviceWorker" in navigator) {
  window.addEventListener("load", keepPage);
}
