// Keys for the grading screen: whatever carries data-key is pressed by its key.
// Without this script every one of them is still a link or a button.

const KEYS = [..."arnuspmczA? 1234567890", "ArrowLeft", "ArrowRight"];
const WRITES = "input:not([type=radio]):not([type=checkbox]), textarea, select";
const find = (selector) => document.querySelector(selector);

// Keys pressed while an answer is on its way wait for it, in order: hands are quicker than lines.
const waiting = [];
let busy = false;
let board = location.pathname;
let held = null;

const { body } = document;

// How one looks at the board goes with every request, so that moving on does not forget it.
body.addEventListener("htmx:configRequest", (event) => {
  for (const name of ["how", "magnification"]) {
    const field = find("#judge")?.elements[name];
    if (field && !event.detail.parameters.has(name)) {
      event.detail.parameters.set(name, field.value);
    }
  }
});

body.addEventListener("htmx:beforeRequest", () => {
  busy = true;
});

// An answer that is another page (signed out meanwhile, or nothing left to judge) is shown as one.
body.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr } = event.detail;
  hold(document.activeElement);
  if (xhr.status < 500 && xhr.status !== 0 && !xhr.getResponseHeader("HX-Replace-Url")) {
    event.detail.shouldSwap = false;
    window.location.assign(xhr.responseURL.includes("/grade/") ? window.location : xhr.responseURL);
  }
});

body.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful) return;
  busy = false;
  waiting.length = 0;
});

body.addEventListener("htmx:afterSettle", () => {
  find("#messages")?.replaceChildren();
  dress();
  keepFocus();
  // A key judges what is to be seen: those pressed on the way to another board are forgotten.
  if (board !== location.pathname) waiting.length = 0;
  board = location.pathname;
  // Once the desk, which hears this after us, has what was shown.
  setTimeout(() => {
    busy = false;
    while (!busy && waiting.length) press(waiting.shift());
  });
});

function dress() {
  for (const button of document.querySelectorAll("[data-opens]")) {
    button.hidden = false;
    button.onclick = () => find(`#${button.dataset.opens}`).showModal();
  }
  const list = find(".judge > .criteria");
  const current = list?.querySelector("[aria-current]");
  if (current && list.scrollHeight > list.clientHeight) {
    const line = current.closest("li");
    list.scrollTop = (line.previousElementSibling ?? line).offsetTop - list.offsetTop;
  }
}

// What had the focus of somebody at the keyboard has it again if it is still there; else the
// heading of what is shown now. A button pressed with the mouse lets go, or Space would press it.
function hold(active) {
  const inside = active?.closest?.("#screen");
  held = inside && active.matches(":focus-visible") ? active : null;
  if (inside && !held) active.blur();
}

function keepFocus() {
  if (held && document.activeElement === body) {
    (document.getElementById(held.id) ?? find("#h-crit"))?.focus({ preventScroll: true });
  }
  held = null;
}

function pressed(event) {
  const { key, target } = event;
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (find("dialog[open]")) return;
  const writing = target.closest?.(WRITES);
  if (writing) {
    if (key === "Escape") writing.blur();
    if (key === "Enter" && writing.matches("input")) written(event, writing);
    return;
  }
  if (key === "Escape") return unmark();
  if (key === " " && target.matches?.(":is(button, a, summary, input):focus-visible")) return;
  if (key.startsWith("Arrow") && target.closest?.("input[type=radio]")) return;
  const name = event.shiftKey || key.length > 1 ? key : key.toLowerCase();
  const note = find("#note");
  if (name === "o" && note) {
    event.preventDefault();
    note.focus();
    note.setSelectionRange(note.value.length, note.value.length);
  } else if (name === "b") {
    const other = find("input[name=how]:not(:checked):not(:disabled)");
    if (other) other.checked = true;
    say(other?.labels[0].textContent);
  } else if (KEYS.includes(name)) {
    event.preventDefault();
    if (busy) waiting.push(name);
    else press(name);
  }
}

function press(key) {
  const target = [...document.querySelectorAll("[data-key]")].find(
    (one) => one.dataset.key === key && !one.closest("[hidden]"),
  );
  if (target && !target.disabled) target.click();
  // Nothing is left beside the criterion on screen: it is accepted by itself.
  else if (key === "A" && find("#do-save")?.value === "") press("a");
  else if (waiting.length) press(waiting.shift());
}

// Enter in the note saves it, as a reject where nothing is judged yet. In any other field it only
// leaves the field: a value or a magnification judges nothing by itself.
function written(event, field) {
  event.preventDefault();
  const { id, form } = field;
  field.blur();
  if (id !== "note") return;
  const save = form.querySelector("button[name=outcome][aria-hidden]");
  const judged = save.value !== "";
  if (judged || field.value.trim() !== "") (judged ? save : find("#do-reject")).click();
}

function say(words) {
  if (words) find("#said").textContent = words.trim();
}

// A click on the photograph marks the place that the next judgement speaks of.
function marked(event) {
  const photograph = event.target.closest?.(".photograph");
  const form = find("#judge");
  if (!photograph || !form) return;
  const box = photograph.getBoundingClientRect();
  const wide = Number(photograph.getAttribute("width"));
  const high = Number(photograph.getAttribute("height"));
  const shown = Math.min(box.width / wide, box.height / high);
  const x = (event.clientX - box.left - (box.width - wide * shown) / 2) / shown;
  const y = (event.clientY - box.top - (box.height - high * shown) / 2) / shown;
  if (x < 0 || y < 0 || x > wide || y > high) return;
  form.elements.mark_x.value = x.toFixed(1);
  form.elements.mark_y.value = y.toFixed(1);
  draw(photograph, wide, high, x, y);
}

function unmark() {
  const form = find("#judge");
  if (!form?.elements.mark_x.value) return;
  form.elements.mark_x.value = "";
  form.elements.mark_y.value = "";
  find(".mark-kept")?.remove();
}

function draw(photograph, wide, high, x, y) {
  find(".mark-kept")?.remove();
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
    ring.setAttribute("r", "3%");
    overlay.append(ring);
  }
  photograph.after(overlay);
}

// What was drawn anew without the server has its mark and its list where they belong.
document.addEventListener("desk:drawn", () => {
  dress();
  const photograph = find(".photograph");
  const form = find("#judge");
  if (!photograph || !form?.elements.mark_x.value || find(".mark-kept")) return;
  const [wide, high] = ["width", "height"].map((name) => Number(photograph.getAttribute(name)));
  draw(photograph, wide, high, form.elements.mark_x.value, form.elements.mark_y.value);
});

dress();
document.addEventListener("keydown", pressed);
document.addEventListener("click", marked);
