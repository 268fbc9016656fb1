// Sends kept taps one after the other and says what came of each.

import { firstOf, forget, note } from "./kept.js";

const LEAST_S = 20;
const BYTES_PER_S = 30_000;
/** How often the server may fail on one tap before a person is asked to set it aside. */
export const MOST_FAULTS = 5;

function token() {
  const found = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return found ? decodeURIComponent(found[1]) : "";
}

function formOf(tap) {
  const form = new FormData();
  for (const [name, value] of tap.fields) {
    form.append(name, value);
  }
  // What the server cannot take may be too large for it.
  for (const [name, file] of tap.isSetAside ? [] : tap.files) {
    form.append(name, file, file.name);
  }
  const age = (Date.now() - tap.at) / 1000;
  const counted = { device: tap.device, number: tap.number, age_s: age.toFixed(3) };
  for (const [name, value] of Object.entries(counted)) {
    form.append(name, String(value));
  }
  if (tap.lacks) {
    form.append("lacks", String(tap.lacks));
  }
  if (tap.isSetAside) {
    form.append("set_aside", "yes");
  }
  return form;
}

async function post(address, tap) {
  const bytes = tap.files.reduce((sum, [, file]) => sum + file.size, 0);
  return fetch(address, {
    method: "POST",
    body: formOf(tap),
    headers: { Accept: "application/json", "X-CSRFToken": token() },
    signal: AbortSignal.timeout(1000 * (LEAST_S + bytes / BYTES_PER_S)),
  });
}

/** What came of one tap: state "done", "refused", "earlier", "sign-in", "later", "fault", "gone". */
async function answerOf(address, tap) {
  try {
    let answer = await post(address, tap);
    if (answer.status === 403) {
      // The form's token has run out; any page of the shop brings a new one.
      await fetch(address);
      answer = await post(address, tap);
    }
    const isJson = (answer.headers.get("Content-Type") ?? "").startsWith("application/json");
    return isJson ? await answer.json() : { state: "fault", status: answer.status };
  } catch {
    return { state: "gone" };
  }
}

/**
 * Send a person's kept taps until none is left or one cannot be sent now.
 *
 * `told(tap, answer)` is called with each answer; the last one, or null when all are sent, is
 * returned.
 */
async function sendAll(address, who, told) {
  for (;;) {
    const tap = await firstOf(who);
    if (tap === undefined) {
      return null;
    }
    const answer = await answerOf(address, tap);
    if (answer.state === "done" || answer.state === "refused") {
      await forget(tap);
      told(tap, answer);
    } else if (answer.state === "earlier" && tap.lacks !== answer.wanted) {
      // Earlier ones were answered, so they are kept no more: say so with the next try.
      await note(tap, { lacks: answer.wanted });
    } else if (answer.state === "fault" || answer.state === "earlier") {
      await note(tap, { faults: (tap.faults ?? 0) + 1 });
      return { state: "fault", tap, faults: (tap.faults ?? 0) + 1 };
    } else {
      return { ...answer, tap };
    }
  }
}

/**
 * As `sendAll`, but one page of the tablet at a time where browsers can say so. Elsewhere two may
 * send the same tap, which the server takes once.
 */
export async function send(address, who, told) {
  const all = () => sendAll(address, who, told);
  return navigator.locks ? navigator.locks.request(`layflat-taps-${who}`, all) : all();
}
