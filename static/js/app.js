// What every page does with a script: say that an answer did not come, and keep the place.
// Every page works without it.

const sayFailure = (element) => {
  const text = document.body.dataset.noAnswer;
  if (!text) return;
  let area = document.querySelector("#no-answer");
  area.querySelector("span").textContent = text;
  area.hidden = false;
};

document.body?.addEventListener("htmx:sendError", sayFailure);
