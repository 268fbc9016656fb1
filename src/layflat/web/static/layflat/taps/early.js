// Taps that are made before outbox.js has run wait for it: where the network hangs it takes long to
// come, and a form that is sent plainly would be lost. A plain script: it runs before there is
// anything to tap.

(() => {
  const held = new Map();

  function hold(event) {
    const { target: form, submitter } = event;
    if (form.matches("form[data-tap]") && !event.defaultPrevented) {
      event.preventDefault();
      held.set(form, submitter);
      submitter?.setAttribute("aria-disabled", "true");
    }
  }

  /** outbox.js has run, or cannot be had: taps go their way, in the order of tapping. */
  function letGo(event) {
    if (event.target.id !== "taps-outbox") {
      return;
    }
    document.removeEventListener("submit", hold);
    for (const [form, submitter] of held) {
      submitter?.removeAttribute("aria-disabled");
      form.requestSubmit(submitter);
    }
    held.clear();
  }

  document.addEventListener("submit", hold);
  document.addEventListener("load", letGo, true);
  document.addEventListener("error", letGo, true);
})();
