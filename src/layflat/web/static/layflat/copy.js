// Buttons that copy a field: <button type="button" data-copies="its id" hidden>. Without this
// script the buttons stay hidden, and the field can be selected by hand.
const SAYS_MS = 2500;

for (const button of document.querySelectorAll("[data-copies]")) {
  const field = document.getElementById(button.dataset.copies);
  const word = button.textContent;
  button.hidden = false;
  button.setAttribute("aria-live", "polite");
  field.addEventListener("focus", () => field.select());
  button.addEventListener("click", async () => {
    button.textContent = (await copied(field)) ? "Copied" : "Marked: copy it now";
    setTimeout(() => {
      button.textContent = word;
    }, SAYS_MS);
  });
}

// The clipboard is there only where the page came over HTTPS or from this machine.
async function copied(field) {
  try {
    await navigator.clipboard.writeText(field.value);
    return true;
  } catch {
    field.select();
    return false;
  }
}
