// Brings a part of the page up to date without taking focus, typed text or an open fold from it.

const TYPED = "input:not([type=hidden]), textarea, select";

const keyOf = (node) => (node.nodeType === Node.ELEMENT_NODE ? node.id : "");

function isSame(now, next) {
  return (
    now.nodeType === next.nodeType && now.nodeName === next.nodeName && keyOf(now) === keyOf(next)
  );
}

/** Whether a person has put something in that the server does not know yet. */
function isTouched(field) {
  if (field === document.activeElement) {
    return true;
  }
  if (field.matches("select")) {
    const first = [...field.options].findIndex((option) => option.defaultSelected);
    return field.selectedIndex !== Math.max(first, 0);
  }
  if (field.matches("[type=checkbox], [type=radio]")) {
    return field.checked !== field.defaultChecked;
  }
  return field.type === "file" ? field.files.length > 0 : field.value !== field.defaultValue;
}

function attributes(now, next) {
  // Whether a fold is open is the person's own choice.
  const isOwn = (name) => name === "open" && now.matches("details");
  for (const { name } of [...now.attributes]) {
    if (!next.hasAttribute(name) && !isOwn(name)) {
      now.removeAttribute(name);
    }
  }
  for (const { name, value } of next.attributes) {
    if (now.getAttribute(name) !== value && !isOwn(name)) {
      now.setAttribute(name, value);
    }
  }
}

/** The first from here on that is not a script's own word on the page. */
function served(node) {
  while (node?.nodeType === Node.ELEMENT_NODE && node.hasAttribute("data-own")) {
    node = node.nextSibling;
  }
  return node;
}

function children(now, next) {
  const named = new Map([...now.children].filter((one) => one.id).map((one) => [one.id, one]));
  let place = now.firstChild;
  for (const wanted of [...next.childNodes]) {
    place = served(place);
    const known = keyOf(wanted) ? named.get(wanted.id) : null;
    if (known && known !== place && isSame(known, wanted)) {
      now.insertBefore(known, place);
      place = known;
    }
    if (place && isSame(place, wanted)) {
      const after = place.nextSibling;
      morph(place, wanted);
      place = after;
    } else {
      now.insertBefore(document.importNode(wanted, true), place);
    }
  }
  for (place = served(place); place; ) {
    const after = served(place.nextSibling);
    place.remove();
    place = after;
  }
}

/**
 * Make *now* say what *next* says. What is marked `data-keep` looks after itself; what a script has
 * added and marked `data-own` stays until the script takes it away.
 */
export function morph(now, next) {
  if (now.nodeType !== Node.ELEMENT_NODE) {
    if (now.nodeValue !== next.nodeValue) {
      now.nodeValue = next.nodeValue;
    }
    return;
  }
  if (now.hasAttribute("data-keep") || (now.matches(TYPED) && isTouched(now))) {
    return;
  }
  attributes(now, next);
  children(now, next);
}
