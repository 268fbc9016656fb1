// Forms marked `data-tap` go on without the network: each tap is kept on the tablet, said to be
// kept, and sent in order as soon as that is possible. See docs/serving.md on what tablets need.

import {
  another,
  closeWaiting,
  formOf,
  isForMany,
  keyOf,
  openAfter,
  renew,
  rest,
  show,
  showUnkept,
  wordsOf,
} from "./forms.js";
import { all, canKeep, canKeepSoon, keep, note } from "./kept.js";
import { morph } from "./morph.js";
import { smaller } from "./pictures.js";
import { MOST_FAULTS, send } from "./sending.js";
import { draw, page } from "./strip.js";

const WAITS_S = [1, 2, 4, 8, 15, 30];
const LOOK_S = 20;
const PAGE_S = 15;
const ENVELOPE = new Set(["csrfmiddlewaretoken", "next"]);

const state = {
  canKeep: true,
  mine: 0,
  others: {},
  stopped: "",
  refused: [],
  canSetAside: false,
  mustStayOpen: false,
};
const tabs = new BroadcastChannel("layflat-taps");
const shrinking = new WeakMap();
/** Forms whose tap is being kept, with what was put in; and those whose last tap was not kept. */
const inHand = new WeakMap();
const unkept = new WeakSet();
let keeping = Promise.resolve();
let isBusy = false;
let isAskedAgain = false;
let tries = 0;
let timer = 0;
let isReady = false;
let beginning = null;

async function count() {
  const taps = await all();
  const others = {};
  for (const tap of taps.filter((one) => one.who !== page.who)) {
    others[tap.whose] = (others[tap.whose] ?? 0) + 1;
  }
  state.mine = taps.filter((tap) => tap.who === page.who).length;
  state.others = others;
  const first = taps.find((tap) => tap.who === page.who);
  state.canSetAside = (first?.faults ?? 0) >= MOST_FAULTS && !first.isSetAside;
}

async function redraw() {
  if (state.canKeep) {
    await count().catch(() => {
      state.stopped = "store";
    });
  }
  draw(state, setAside);
}

async function setAside() {
  try {
    const first = (await all()).find((tap) => tap.who === page.who);
    if (first !== undefined) {
      await note(first, { isSetAside: true });
    }
  } finally {
    wake();
  }
}

// Keeping

async function filesOf(form, data) {
  const found = [];
  for (const [name, file] of data) {
    if (file instanceof File && file.size > 0) {
      found.push([name, await (shrinking.get(file) ?? smaller(file))]);
    }
  }
  return found;
}

function tapOf(form, data) {
  const fields = [...data].filter(([name, value]) => {
    return typeof value === "string" && !ENVELOPE.has(name);
  });
  return {
    key: keyOf(form),
    who: String(data.get("who") ?? page.who),
    whose: page.whose,
    form: form.id,
    at: Date.now(),
    fields,
  };
}

async function take(form, data, tap, from) {
  const words = inHand.get(form);
  try {
    await keep({ ...tap, files: await filesOf(form, data) });
  } catch (error) {
    unkept.add(form);
    const why = error?.name === "QuotaExceededError" ? "has no room left" : "could not write it";
    showUnkept(form, `Not kept: this tablet ${why}. Tap again within the network.`);
    return;
  } finally {
    inHand.delete(form);
  }
  unkept.delete(form);
  if (isForMany(form)) {
    another(form, words);
  } else {
    rest(form);
  }
  show(form, "kept");
  openAfter(form);
  measure(from);
  keptOne();
}

/** How long the page took to say that the tap is kept, as the next frame shows it. */
function measure(from) {
  requestAnimationFrame(() => performance.measure("layflat tap kept", { start: from }));
}

function submitted(event) {
  const form = event.target;
  if (!form.matches("form[data-tap]") || event.defaultPrevented) {
    return;
  }
  if (beginning !== null) {
    // Tapped before the store has opened: the tap waits for it, as there may be no network.
    event.preventDefault();
    beginning.then(() => form.requestSubmit(event.submitter));
    return;
  }
  // A browser that keeps nothing sends the form plainly; so does one that could not keep the last
  // tap, while there may be a network.
  if (!isReady || (unkept.has(form) && navigator.onLine)) {
    return;
  }
  event.preventDefault();
  const from = performance.now();
  if (inHand.has(form)) {
    afterThat(form, event.submitter);
    return;
  }
  if (form.dataset.tapTaken === keyOf(form)) {
    return;
  }
  inHand.set(form, wordsOf(form));
  const data = new FormData(form, event.submitter);
  const tap = tapOf(form, data);
  show(form, "keeping");
  // One after the other, so that a small tap does not overtake a picture.
  keeping = keeping.then(() => take(form, data, tap, from));
}

/** Tapped while its last tap is being kept: by a glove that taps twice, or with other words. */
function afterThat(form, submitter) {
  if (isForMany(form) && wordsOf(form) !== inHand.get(form)) {
    keeping.then(() => {
      if (!unkept.has(form)) {
        form.requestSubmit(submitter);
      }
    });
  }
}

function keptOne() {
  tabs.postMessage("kept");
  redraw();
  wake();
}

async function chosen(event) {
  const input = event.target;
  if (!input.matches("form[data-tap] input[type=file]")) {
    return;
  }
  input.setCustomValidity("");
  for (const file of input.files) {
    const made = smaller(file);
    shrinking.set(file, made);
    const most = Number(page.mostBytes);
    if ((await made).size > most) {
      const words = `The picture is larger than ${Math.floor(most / 1e6)} MB`;
      input.setCustomValidity(`${words}; take it with a lower resolution.`);
      input.reportValidity();
    }
  }
}

// Sending

function answered(tap, answer) {
  if (answer.state === "refused") {
    state.refused.push(answer.says);
  }
  const form = formOf(tap);
  // What is said of a later tap that was not kept stays.
  if (form !== null && !unkept.has(form)) {
    show(form, answer.state === "done" ? "sent" : "refused", answer.says);
    if (answer.state === "refused") {
      renew(form);
    } else if (!isForMany(form)) {
      form.reset();
    }
  }
  tabs.postMessage("answered");
  redraw();
}

function later() {
  clearTimeout(timer);
  const wait = state.stopped && state.mine > 0 ? WAITS_S[Math.min(tries, 5)] : LOOK_S;
  tries += 1;
  timer = setTimeout(wake, 1000 * wait);
}

/** Try now: something was tapped, or the network may be back. */
async function wake() {
  isAskedAgain = isBusy;
  if (isBusy || !isReady || (document.visibilityState === "hidden" && state.mine === 0)) {
    return;
  }
  isBusy = true;
  try {
    const stopped = await send(page.taps, page.who, answered);
    state.stopped = stopped === null ? await refresh() : stopped.state;
  } catch {
    // The next time the store may answer again.
    state.stopped = "store";
  }
  if (state.stopped === "") {
    tries = 0;
  }
  await redraw();
  isBusy = false;
  if (isAskedAgain) {
    wake();
  } else {
    later();
  }
}

// The page itself

/** The page as the server has it now, or why it cannot be had. */
async function nextPage() {
  try {
    const signal = AbortSignal.timeout(1000 * PAGE_S);
    const answer = await fetch(location.pathname + location.search, { signal });
    if (answer.headers.has("X-Layflat-Kept")) {
      return { stopped: "gone" };
    }
    if (answer.redirected || !answer.ok) {
      return { stopped: answer.redirected ? "sign-in" : "fault" };
    }
    const text = await answer.text();
    return { stopped: "", next: new DOMParser().parseFromString(text, "text/html") };
  } catch {
    return { stopped: "gone" };
  }
}

/** Bring the parts of the page that taps change up to date; why it could not, or "". */
async function refresh() {
  const parts = document.querySelectorAll("[data-taps-part][id]");
  if (parts.length === 0) {
    return "";
  }
  const { stopped, next } = await nextPage();
  // What was kept meanwhile is not in that page yet.
  const isKept = (await all()).some((tap) => tap.who === page.who);
  if (next === undefined || isKept) {
    return stopped;
  }
  for (const part of parts) {
    const newer = next.getElementById(part.id);
    if (newer !== null) {
      morph(part, newer);
      part.dispatchEvent(new CustomEvent("layflat:refreshed", { bubbles: true }));
    }
  }
  closeWaiting();
  return "";
}

/** Show again what was kept before this page was opened. */
async function remember() {
  for (const tap of await all()) {
    const form = tap.who === page.who ? formOf(tap) : null;
    if (form !== null) {
      if (!isForMany(form)) {
        rest(form);
      }
      show(form, "kept");
      openAfter(form);
    }
  }
}

async function begin() {
  state.mustStayOpen = page.reopens !== undefined && !("serviceWorker" in navigator);
  closeWaiting();
  // A page that was kept comes with the keys of taps that were made on it before.
  document.querySelectorAll("form[data-tap][data-tap-again]").forEach(renew);
  state.canKeep = await canKeepSoon();
  if (state.canKeep) {
    await keepFromNow();
  } else {
    // A store that opens late is used once it has; until then taps go out plainly.
    canKeep().then((can) => can && keepFromNow().then(redraw).then(wake, keepNothing));
  }
  await redraw();
}

async function keepFromNow() {
  await remember();
  navigator.storage?.persist?.();
  state.canKeep = isReady = true;
}

/** A store that opens and cannot be read keeps nothing: taps go out plainly. */
function keepNothing() {
  state.canKeep = isReady = false;
  return redraw();
}

if (page !== null) {
  document.addEventListener("submit", submitted);
  document.addEventListener("change", chosen);
  document.addEventListener("visibilitychange", wake);
  window.addEventListener("online", wake);
  window.addEventListener("focus", wake);
  window.addEventListener("offline", () => {
    state.stopped = "gone";
    redraw();
  });
  tabs.addEventListener("message", redraw);
  document.getElementById("taps-strip").addEventListener("layflat:stay-open", () => {
    state.mustStayOpen = true;
    redraw();
  });
  beginning = begin()
    .catch(keepNothing)
    .finally(() => {
      beginning = null;
    });
  beginning.then(wake);
}
