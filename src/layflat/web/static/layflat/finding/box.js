// “/” leads to the box at the head of the page, unless somebody is typing.
document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const box = document.getElementById("find-all");
  if (!box) return;
  event.preventDefault();
  box.focus();
  box.select();
});
