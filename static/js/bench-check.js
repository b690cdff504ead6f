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

// Work chosen with the mouse or a finger: the next is a badge. With keys each letter is a choice of
// its own, and the rest of a word is not a number.
const { scope } = form.elements;
let byKeys = false;
scope.addEventListener("keydown", () => {
  byKeys = true;
});
scope.addEventListener("pointerdown", () => {
  byKeys = false;
});
scope.addEventListener("change", () => {
  if (!byKeys) number.focus();
});
