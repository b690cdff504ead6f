// Photographs on a board's page: dropped on it and sent (photo-drop.js), and dragged from joint
// to joint. Without a script the form sends them all, and each photograph's own page says what
// it shows.

import { csrfToken, fetchPage, find, findAll, shape } from "../lib/page.js";
import { sendFrom } from "./photo-drop.js";

const section = find("[data-photos]");
const form = section && find("[data-upload]", section);

// What the server draws is the only drawing there is: after a change the parts come anew.
let drawing = null;
let drawAgain = false;
const redraw = () => {
  drawAgain = true;
  drawing ??= (async () => {
    while (drawAgain) {
      drawAgain = false;
      const page = await fetchPage(location.pathname);
      if (!page) break;
      for (const id of ["photo-groups", "photo-count", "board-joints"]) {
        const fresh = page.getElementById(id);
        if (fresh) document.getElementById(id)?.replaceWith(fresh);
      }
      letDrag();
    }
  })().finally(() => {
    drawing = null;
  });
  return drawing;
};

// Dragging a photograph to the joint it shows

let moving = null;

const place = async (thumb, joint) => {
  let { failed: says } = find("[data-words]", form).dataset;
  try {
    const answer = await fetch(thumb.dataset.photo, {
      method: "POST",
      body: new URLSearchParams({ joint }),
      headers: { Accept: "application/json", "X-CSRFToken": csrfToken() },
    });
    ({ says } = await answer.json());
  } catch {
    // What is said is that it did not arrive.
  }
  const list = find(".answers", form);
  list.replaceChildren();
  if (says) {
    const item = document.createElement("li");
    item.className = "is-reject";
    const text = document.createElement("span");
    text.textContent = says;
    item.append(shape("reject"), text);
    list.append(item);
  }
  await redraw();
};

const targetOf = (event) => (moving ? event.target.closest?.("[data-joint]") : null);

function letDrag() {
  for (const thumb of findAll(".thumb[data-photo]")) {
    thumb.draggable = true;
    thumb.addEventListener("dragstart", (event) => {
      moving = thumb;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", thumb.href);
      thumb.classList.add("is-moving");
    });
    thumb.addEventListener("dragend", () => {
      thumb.classList.remove("is-moving");
      moving = null;
    });
  }
}

if (form) {
  sendFrom(section, form, redraw);
  letDrag();
  document.addEventListener("dragover", (event) => {
    for (const marked of findAll(".is-target")) marked.classList.remove("is-target");
    const target = targetOf(event);
    if (!target || target.dataset.joint === moving.dataset.jointNow) return;
    event.preventDefault();
    target.classList.add("is-target");
  });
  document.addEventListener("drop", (event) => {
    const target = targetOf(event);
    if (!target) return;
    event.preventDefault();
    target.classList.remove("is-target");
    place(moving, target.dataset.joint);
  });
}
