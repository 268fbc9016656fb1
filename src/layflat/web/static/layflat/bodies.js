// The page of a body: tap a panel, read about it; open what is to be read, see it pointed out.

const viewer = document.querySelector(".viewer");
const sheets = [...document.querySelectorAll(".panel-sheet")];

viewer?.addEventListener("surface-tap", (event) => {
  const wanted = sheets.find((sheet) => sheet.dataset.panel === event.detail.panel);
  for (const sheet of sheets) {
    sheet.open = sheet === wanted;
  }
});

for (const sheet of sheets) {
  sheet.addEventListener("toggle", () => {
    const open = sheets.filter((item) => item.open).map((item) => item.dataset.panel);
    viewer?.dispatchEvent(new CustomEvent("viewer-select", { detail: open }));
  });
}
