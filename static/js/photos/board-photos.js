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
      for (const id of ["photo-groups", "photo-count", "board-joints", "tap-map", "last-sending"]) {
        const fresh = page.getElementById(id);
        const drawn = document.getElementById(id);
        const held = drawn?.contains(document.activeElement) ? document.activeElement : null;
        // What was unfolded stays so.
        if (drawn?.querySelector("details[open]")) {
          fresh?.querySelector("details")?.setAttribute("open", "");
        }
        if (fresh) drawn?.replaceWith(fresh);
        if (held?.dataset.take) find(`[data-take="${held.dataset.take}"]`)?.focus();
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
  say(says);
  await redraw();
};

const say = (says, name = "reject") => {
  const list = find(".answers", form);
  list.replaceChildren();
  if (!says) return;
  const item = document.createElement("li");
  item.className = `is-${name}`;
  const text = document.createElement("span");
  text.textContent = says;
  item.append(shape(name), text);
  list.append(item);
};

// Taking back what was sent

const takeBack = async (asked, drop) => {
  let { failed: says } = find("[data-words]", form).dataset;
  let photos = [];
  try {
    const answer = await fetch(asked.action, {
      method: "POST",
      body: new FormData(asked),
      headers: { Accept: "application/json", "X-CSRFToken": csrfToken() },
    });
    ({ says, photos } = await answer.json());
  } catch {
    // What is said is that it did not arrive.
  }
  if (photos.length) drop.cameBack(photos, asked.elements.sending.value);
  say(says, photos.length ? "accept" : "reject");
  await redraw();
};

// Taking a picture of a joint that is tapped

const camera = () => {
  const input = document.createElement("input");
  input.type = "file";
  input.accept = "image/*";
  input.setAttribute("capture", "environment");
  input.hidden = true;
  input.dataset.camera = "";
  document.body.append(input);
  return input;
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
  const drop = sendFrom(section, form, redraw);
  const lens = camera();
  lens.addEventListener("change", () => {
    drop.takeAt(lens.dataset.joint, [...lens.files]);
    lens.value = "";
  });
  document.addEventListener("click", (event) => {
    const tapped = event.target.closest?.("[data-take]");
    if (!tapped) return;
    event.preventDefault();
    lens.dataset.joint = tapped.dataset.take;
    lens.click();
  });
  document.addEventListener("submit", (event) => {
    if (!event.target.matches("[data-take-back]")) return;
    event.preventDefault();
    takeBack(event.target, drop);
  });
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
