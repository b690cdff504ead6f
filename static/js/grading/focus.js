// Who uses the keyboard keeps the focus where it was, or finds it at the heading if what had it
// is gone; a button pressed with the mouse lets go, or Space would press it.

import { find } from "../lib/page.js";

let held = null;

const isInside = (active) => Boolean(active?.closest?.("#screen"));

export function keepFocusOver(draw) {
  const active = document.activeElement;
  const inside = isInside(active);
  const isHeld = inside && active.matches(":focus-visible");
  const { id } = active ?? {};
  draw();
  if (inside && !isHeld && active.matches("a, button")) active.blur();
  if (!isHeld) return;
  const again = document.getElementById(id);
  const there = again && !again.hidden ? again : find("#h-crit");
  if (document.activeElement !== there) there.focus({ preventScroll: true });
}

// The same over a piece that the server draws: before it is swapped in, and after.
export function holdFocus() {
  const active = document.activeElement;
  const inside = isInside(active);
  held = inside && active.matches(":focus-visible") ? active : null;
  if (inside && !held) active.blur();
}

export function restoreFocus() {
  if (held && document.activeElement === document.body) {
    (document.getElementById(held.id) ?? find("#h-crit"))?.focus({ preventScroll: true });
  }
  held = null;
}
