// Says when the board is out of date because the server does not answer. Polling itself is htmx's.

const lost = document.getElementById("board-lost");

function tell(isLost) {
  if (lost !== null) {
    lost.hidden = !isLost;
  }
}

document.addEventListener("htmx:sendError", () => tell(true));
document.addEventListener("htmx:responseError", () => tell(true));
document.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful || event.detail.xhr?.status === 304) {
    tell(false);
  }
});
