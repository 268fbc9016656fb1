// The list of what is traced: each with how far it is, and what can be done with it.

export function draftList({ place, bench, open, step }) {
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.is : "";
  place.replaceChildren(...bench.drafts.map((draft, i) => item(draft, i, { bench, open, step })));
  if (!bench.drafts.length) {
    const none = document.createElement("li");
    none.className = "quiet-text";
    none.textContent = "None is traced yet. Give the first one a name below.";
    place.append(none);
  }
  place.querySelector(`[data-is="${focused}"]`)?.focus();
}

// The last steps, the newest first; where the work stands is said.
export function stepList(place, steps) {
  if (!steps.length) {
    return;
  }
  place.replaceChildren(
    ...steps.map(({ said, who, now }) => {
      const made = document.createElement("li");
      const by = document.createElement("span");
      by.className = "quiet-text";
      by.textContent = ` ${who}${now ? "; it stands here" : ""}`;
      if (now) {
        made.setAttribute("aria-current", "step");
      }
      made.append(said, by);
      return made;
    }),
  );
}

function item(draft, number, { bench, open, step }) {
  const made = document.createElement("li");
  const isOpen = number === bench.open;
  made.classList.toggle("is-open", isOpen);
  const name = document.createElement("span");
  name.className = "draft-name";
  name.textContent = draft.on ? `${draft.name} (${draft.keep_out || "opening"} on ${draft.on})` : draft.name;
  const state = document.createElement("span");
  state.className = draft.closed ? "state done" : "state";
  const count = draft.nodes.length;
  state.textContent = draft.closed ? `closed, ${count} points` : `${count} point${count === 1 ? "" : "s"}`;
  const acts = document.createElement("span");
  acts.className = "draft-acts";
  made.append(name, state, acts);
  acts.append(button(isOpen ? "Leave" : "Trace", `open-${number}`, () => open(number), draft));
  if (!draft.closed && count >= 3) {
    const close = () => step({ act: "close", draft: number });
    acts.append(button("Close the outline", `close-${number}`, close, draft));
  }
  const drop = () => step({ act: "drop", draft: number });
  acts.append(button("Drop", `drop-${number}`, drop, draft));
  if (draft.fault) {
    const fault = document.createElement("p");
    fault.className = "draft-fault state late";
    fault.textContent = draft.fault;
    made.append(fault);
  }
  if (draft.notes.length) {
    const notes = document.createElement("ul");
    notes.className = "draft-notes";
    notes.setAttribute("aria-label", `What will be done to the outline of ${draft.name}`);
    for (const note of draft.notes) {
      notes.append(Object.assign(document.createElement("li"), { textContent: note }));
    }
    made.append(notes);
  }
  return made;
}

function button(word, is, act, draft) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "quiet";
  made.dataset.is = is;
  made.textContent = word;
  made.setAttribute("aria-label", `${word}: ${draft.name}`);
  made.addEventListener("click", act);
  return made;
}
