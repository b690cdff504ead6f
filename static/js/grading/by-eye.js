// Judging by eye what is measured, for a reason that is chosen by its number or written. Why
// something was accepted is kept for the board, so that the next time it is one key.

import { find } from "../lib/page.js";
import { announce } from "./keyboard.js";

export const BY_EYE = "_by_eye";
export const isByEye = (said) => said.endsWith(BY_EYE);
export const outcomeOf = (said) => said.replace(BY_EYE, "");

// The reason that stands there; empty where there is none, and then it is asked for.
// kept: one that was given for something else; what is rejected wants its own
// button: what is pressed once there is a reason
export function reasonFor(said, kept, button = `${outcomeOf(said)}-by-eye`) {
  const field = find("#because");
  const reasons = find("#reasons");
  const reason = field.value.trim();
  const wasAskedFor = field.dataset.presses === button;
  if (reason && (wasAskedFor || outcomeOf(said) === "accept" || reason !== kept)) return reason;
  field.dataset.presses = button;
  if (!reasons.hidden && find("#by-eye").open) {
    field.focus();
    return "";
  }
  field.value = "";
  find("#by-eye").open = true;
  reasons.hidden = false;
  const line = find("#unmeasured");
  line.textContent = line.dataset.choose;
  line.hidden = false;
  find("#by-eye").scrollIntoView({ block: "nearest" });
  announce(line.textContent);
  return "";
}

export function drawByEye(isOffered, because) {
  find("#unmeasured").hidden = true;
  const block = find("#by-eye");
  if (!block) return;
  block.hidden = !isOffered;
  block.open = false;
  find("#reasons").hidden = true;
  const field = find("#because");
  field.value = because;
  delete field.dataset.presses;
  const shown = find("[data-because]", block);
  shown.textContent = because;
  shown.hidden = !because;
}

export function listenForReasons() {
  document.addEventListener("click", (event) => {
    const chosen = event.target.closest?.("#reasons [data-reason]");
    if (!chosen) return;
    const field = find("#because");
    field.value = chosen.dataset.reason;
    find(`#${field.dataset.presses ?? "accept-by-eye"}`).click();
  });
  // Opened by hand, the reasons are there to be chosen.
  document.addEventListener(
    "toggle",
    (event) => {
      if (event.target.id === "by-eye" && event.target.open) find("#reasons").hidden = false;
    },
    true,
  );
}
