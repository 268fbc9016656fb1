// The strip at the foot: what is kept on this tablet, and why it is not sent.

const strip = document.getElementById("taps-strip");
const words = strip?.querySelector("[data-taps-words]");
const more = strip?.querySelector("[data-taps-more]");

/** What the page knows of itself: who is signed in and where taps go; null where it has no strip. */
export const page = strip === null ? null : { ...strip.dataset };

const counted = (count) => (count === 1 ? "1 tap" : `${count} taps`);

function whyNot(state) {
  if (state.stopped === "sign-in") {
    return "sign in again to send them";
  }
  if (state.stopped === "later") {
    return "the server's disk is full; they are sent when there is room";
  }
  if (state.stopped === "fault") {
    return "the server cannot take them now; they are sent again by themselves";
  }
  return state.stopped === "gone" ? "the network is gone" : "being sent";
}

/** The first line: sign and words. */
function line(state) {
  if (!state.canKeep) {
    return ["late", "This browser keeps no taps: each is sent at once and needs the network."];
  }
  if (state.stopped === "store") {
    return ["late", "This tablet cannot read what it keeps just now; it tries again by itself."];
  }
  if (state.mine > 0) {
    return ["waiting", `${counted(state.mine)} kept on this tablet · ${whyNot(state)}`];
  }
  if (state.stopped === "gone") {
    return ["waiting", "The network is gone · taps are kept on this tablet"];
  }
  return ["done", "All sent"];
}

function link(text, address) {
  const made = document.createElement("a");
  made.href = address;
  made.textContent = text;
  return made;
}

function button(text, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

const signIn = () => `${page.signIn}?next=${encodeURIComponent(location.pathname)}`;

/** Further lines, each with what can be done about it. */
function lines(state, setAside) {
  const found = [];
  for (const [name, count] of Object.entries(state.others)) {
    found.push([`${counted(count)} of ${name} kept here: sent when ${name} signs in.`]);
  }
  if (state.stopped === "sign-in") {
    found.push([link("Sign in", signIn())]);
  }
  if (state.refused.length > 0) {
    const last = state.refused[state.refused.length - 1];
    const all = link("See what did not go in", page.list);
    found.push([`${counted(state.refused.length)} did not go in: ${last} `, all]);
  }
  if (state.canSetAside) {
    const words = "The server failed again and again on the first of them. ";
    found.push([words, button("Set it aside", setAside)]);
  }
  if (state.mustStayOpen) {
    found.push(["Keep this page open: here it cannot be opened again while the network is gone."]);
  }
  return found;
}

/** Draw the strip. Words that have not changed are not written again, nor read out again. */
export function draw(state, setAside) {
  if (strip === null) {
    return;
  }
  const [sign, text] = line(state);
  const further = lines(state, setAside);
  if (words.textContent !== text) {
    words.textContent = text;
  }
  words.className = `state ${sign}`;
  const said = further.map((parts) => parts.map((part) => part.textContent ?? part).join(""));
  if (more.dataset.said !== said.join("\n")) {
    more.dataset.said = said.join("\n");
    more.replaceChildren(
      ...further.map((parts) => {
        const item = document.createElement("li");
        item.append(...parts);
        return item;
      }),
    );
  }
  const isQuiet = sign === "done" && further.length === 0;
  strip.hidden = isQuiet && strip.hasAttribute("data-quiet");
}
