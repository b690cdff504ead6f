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

// A page that answers a form, as a refusal does, is remembered by the address of the page that the
// form was on. Back then asks for that page as it is now, and not for the form to be sent again.
if (document.querySelector("meta[name=answers-a-form]")) {
  const from = document.referrer.startsWith(`${location.origin}/`) ? document.referrer : "";
  history.replaceState(history.state, "", from || location.href);
}
