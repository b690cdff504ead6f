// After an act the focus is at what became of it: what was refused, else what was done. Otherwise
// whoever has no mouse begins at the top of every page anew, and a screen reader says nothing of it.

const REFUSED = "[aria-invalid=true], [role=alert]:not([hidden]), .alert, .changed";
const STOPS = "a[href], button, input, select, textarea, summary";
const isSeen = (one) => one.checkVisibility() && !one.disabled && one.type !== "hidden";

function giveFocus(one) {
  // A sentence takes the focus only now, and is no stop of Tab's.
  if (one.tabIndex < 0) one.tabIndex = -1;
  one.focus();
}

const main = document.querySelector("main");
const first = (selector) => [...main.querySelectorAll(selector)].find(isSeen);

if (main && document.querySelector("meta[name=answers-a-form]")) {
  const refused = first(REFUSED);
  if (refused) giveFocus(refused);
  else if (!first("[autofocus]")) main.focus();
} else if (main && !location.hash && !first("[autofocus]")) {
  const done = first("#messages .message");
  if (done) giveFocus(done);
}

// Where a piece of the page is drawn anew and what had the focus is gone with it, the nearest thing
// around it that is still there takes it. A button pressed with the mouse or a finger lets go.
let around = [];

document.body.addEventListener("htmx:beforeRequest", () => {
  around = [];
  if (!document.activeElement?.matches(":focus-visible")) return;
  for (let one = document.activeElement; one && one !== document.body; one = one.parentElement)
    if (one.id) around.push(one.id);
});
function giveBack() {
  if (document.activeElement !== document.body) return;
  const still = around.map((id) => document.getElementById(id)).find(Boolean);
  const stops = still ? [still, ...still.querySelectorAll(STOPS)] : [];
  stops.find((one) => one.matches(STOPS) && isSeen(one))?.focus({ preventScroll: true });
  around = [];
}

// After the listeners of the page itself, which may know better.
document.body.addEventListener("htmx:afterSettle", () => queueMicrotask(giveBack));
