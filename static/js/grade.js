// Keys for the grading screen: whatever carries data-key is pressed by its key.
// Without this script every one of them is still a link or a button.

const WRITES = "input:not([type=radio]):not([type=checkbox]), textarea, select";

const KEYS = [..."arnuspA? 123456789", "ArrowLeft", "ArrowRight"];
const dialog = document.querySelector("#all-keys");

// Keys pressed while an answer is on its way wait for it, in order: hands are quicker than lines.
const waiting = [];
let busy = false;

document.body.addEventListener("htmx:beforeRequest", () => {
  busy = true;
});
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!event.detail.successful) {
    busy = false;
    waiting.length = 0;
  }
});
document.body.addEventListener("htmx:afterSettle", () => {
  busy = false;
  dress();
  if (waiting.length) press(waiting.shift());
});

function dress() {
  const button = document.querySelector("[data-opens]");
  if (!button) return;
  button.hidden = false;
  button.onclick = () => dialog.showModal();
}

function pressed(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const writing = event.target.closest?.(WRITES);
  if (event.key === "Escape" && writing) {
    writing.blur();
    return;
  }
  if (writing || dialog.open) return;
  if (event.key === "o") {
    const note = document.querySelector("#note");
    if (note) {
      event.preventDefault();
      note.focus();
    }
    return;
  }
  if (event.key === "b") {
    const other = document.querySelector("input[name=how]:not(:checked):not(:disabled)");
    if (other) other.checked = true;
    return;
  }
  if (event.key === " " && event.target.closest?.("button, a")) return;
  if (event.key.startsWith("Arrow") && event.target.closest?.("input[type=radio]")) return;
  const key = event.shiftKey || event.key.length > 1 ? event.key : event.key.toLowerCase();
  if (!KEYS.includes(key)) return;
  event.preventDefault();
  if (busy) waiting.push(key);
  else press(key);
}

function press(key) {
  const target = [...document.querySelectorAll("[data-key]")].find((one) => one.dataset.key === key);
  if (target && !target.disabled) target.click();
  else if (waiting.length) press(waiting.shift());
}

// A click on the photograph marks the place that the next judgement speaks of.
function marked(event) {
  const photograph = event.target.closest?.("#photograph");
  const form = document.querySelector("#judge");
  if (!photograph || !form) return;
  const box = photograph.getBoundingClientRect();
  const wide = Number(photograph.getAttribute("width"));
  const high = Number(photograph.getAttribute("height"));
  const shown = Math.min(box.width / wide, box.height / high);
  const left = box.left + (box.width - wide * shown) / 2;
  const top = box.top + (box.height - high * shown) / 2;
  const x = (event.clientX - left) / shown;
  const y = (event.clientY - top) / shown;
  if (x < 0 || y < 0 || x > wide || y > high) return;
  form.elements.mark_x.value = x.toFixed(1);
  form.elements.mark_y.value = y.toFixed(1);
  draw(photograph, wide, high, x, y);
}

function draw(photograph, wide, high, x, y) {
  const figure = photograph.parentNode;
  figure.querySelector(".overlay")?.remove();
  const space = "http://www.w3.org/2000/svg";
  const overlay = document.createElementNS(space, "svg");
  overlay.setAttribute("class", "overlay mark-kept");
  overlay.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  overlay.setAttribute("aria-hidden", "true");
  for (const kind of ["halo", "line"]) {
    const ring = document.createElementNS(space, "circle");
    ring.setAttribute("class", kind);
    ring.setAttribute("cx", x);
    ring.setAttribute("cy", y);
    ring.setAttribute("r", "2.6%");
    overlay.append(ring);
  }
  photograph.after(overlay);
}

dress();
document.addEventListener("keydown", pressed);
document.addEventListener("click", marked);
