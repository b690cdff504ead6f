// The little that every page does with a script; every page works without it.

// Say when an answer did not come, and stop saying it with the next one that does.
const notice = document.querySelector("#no-answer");

if (notice) {
  document.body.addEventListener("htmx:sendError", () => {
    notice.hidden = false;
  });
  document.body.addEventListener("htmx:responseError", () => {
    notice.hidden = false;
  });
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    if (event.detail.shouldSwap) notice.hidden = true;
  });
}
