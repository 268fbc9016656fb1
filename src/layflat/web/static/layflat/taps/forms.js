// What a form that is tapped shows of its tap, and which other forms it opens.

import { newKey } from "./kept.js";

/** The sign and the words of each state. */
const SAID = {
  keeping: ["none", "being kept …"],
  kept: ["waiting", "kept on this tablet"],
  sent: ["done", "sent"],
  refused: ["late", "did not go in"],
};
const OF_THE_PAGE = new Set(["csrfmiddlewaretoken", "tap"]);
const BUTTONS = "button, input[type=submit]";

export const keyOf = (form) => form.elements.namedItem("tap")?.value ?? "";

/** Whether a form is for one tap after the other, rather than for one. */
export const isForMany = (form) => form.hasAttribute("data-tap-again");

const named = (form, name) => (form.dataset[name] ?? "").split(/\s+/).filter(Boolean);

/** The form that a kept tap came from, if the page still has it. */
export function formOf(tap) {
  for (const form of document.querySelectorAll("form[data-tap]")) {
    if (keyOf(form) === tap.key) {
      return form;
    }
  }
  return tap.form ? document.getElementById(tap.form) : null;
}

function usable(form, isUsable) {
  for (const button of form.querySelectorAll(BUTTONS)) {
    button.disabled = !isUsable;
  }
}

function say(place, state) {
  place.dataset.tapState = state;
  const [sign, words] = SAID[state];
  let said = place.querySelector(":scope > .tap-said");
  if (said === null) {
    said = document.createElement("span");
    place.append(said);
  }
  said.className = `tap-said state ${sign}`;
  said.textContent = words;
}

/** Show the state of a form's tap where the form says so, or on itself. */
export function show(form, state, says = "") {
  const ids = named(form, "tapShows");
  const places = ids.map((id) => document.getElementById(id)).filter(Boolean);
  for (const place of places.length ? places : [form]) {
    say(place, state);
  }
  form.querySelector(":scope > .tap-why")?.remove();
  if (says && state === "refused") {
    const why = document.createElement("p");
    why.className = "tap-why caution";
    why.textContent = says;
    form.append(why);
  }
}

/** Say why a tap was not kept; it stays said when the page is brought up to date. */
export function showUnkept(form, why) {
  show(form, "refused", why);
  form.querySelector(":scope > .tap-why").dataset.own = "";
}

/** Nothing is to be tapped twice: the form's buttons rest until the page is brought up to date. */
export function rest(form) {
  form.dataset.tapTaken = keyOf(form);
  for (const button of form.querySelectorAll(BUTTONS)) {
    button.setAttribute("aria-disabled", "true");
  }
}

/** Let a form be tapped again, as a new tap. */
export function renew(form) {
  const key = form.elements.namedItem("tap");
  if (key !== null) {
    key.value = newKey();
  }
  for (const button of form.querySelectorAll(BUTTONS)) {
    button.removeAttribute("aria-disabled");
  }
}

/** What a person has put into a form, to be compared. */
export function wordsOf(form) {
  const put = [...new FormData(form)].filter(([name]) => !OF_THE_PAGE.has(name));
  return JSON.stringify(put.map(([name, value]) => [name, value.name ?? value]));
}

/** A form for many taps is ready for the next; what was put in since *words* belongs to that. */
export function another(form, words) {
  if (wordsOf(form) === words) {
    form.reset();
  }
  renew(form);
}

/** A gate before a form that is usable now stands open; the server's own words come with the page. */
function openGate(form) {
  const gate = form.closest("article, li, section")?.querySelector(":scope > .gate");
  if (gate) {
    gate.classList.add("open");
    gate.replaceChildren(document.createElement("span"));
    gate.firstChild.textContent = "open by what is kept on this tablet";
  }
}

/** Make the forms usable that waited for this one's tap. */
export function openAfter(form) {
  for (const id of named(form, "tapOpens")) {
    const other = document.getElementById(id);
    const needs = other ? named(other, "tapNeeds").filter((need) => need !== form.id) : [];
    if (other?.matches("form")) {
      other.dataset.tapNeeds = needs.join(" ");
      usable(other, needs.length === 0);
      if (needs.length === 0) {
        openGate(other);
      }
    }
  }
}

/** Close the forms that wait for others' taps. */
export function closeWaiting() {
  for (const form of document.querySelectorAll("form[data-tap][data-tap-needs]")) {
    usable(form, named(form, "tapNeeds").length === 0);
  }
}
