// The bench check with a scanner: each badge is one scan, and no old answer stays beside a new number.

const form = document.querySelector(".check-form");
const answer = document.querySelector("#answer");
const number = form.elements.number;

function say(sentence) {
  const line = document.createElement("p");
  line.className = "sentence";
  line.textContent = sentence;
  answer.replaceChildren(line);
}

// What is sent has been read by now, so the field is free for the next scan.
form.addEventListener("htmx:beforeSend", () => {
  say(answer.dataset.checking);
  number.value = "";
  number.focus();
});

form.addEventListener("htmx:sendError", () => say(answer.dataset.failed));
form.addEventListener("htmx:responseError", () => say(answer.dataset.failed));

// Signed out meanwhile: the answer is another page, which is to be seen as one.
answer.addEventListener("htmx:beforeSwap", (event) => {
  const came = new URL(event.detail.xhr.responseURL);
  if (came.pathname !== new URL(form.action).pathname) {
    event.detail.shouldSwap = false;
    window.location.assign(form.action);
  }
});

form.elements.scope.addEventListener("change", () => number.focus());
