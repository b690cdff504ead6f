// The grading screen by keys. Without this script whatever has a key is a link or a button.

import { find, findAll } from "../lib/page.js";
import { isForOthers, isKey, KeyBuffer, nameOf } from "./keys.js";
import { clearMark } from "./mark.js";

const WRITES = "input:not([type=radio]):not([type=checkbox]), textarea, select";

export const keys = new KeyBuffer(press);
let pressedElsewhere = () => false;

function press(name) {
  const target = findAll("[data-key]").find(
    (element) => element.dataset.key === name && !element.closest("[hidden]"),
  );
  if (target && !target.disabled) target.click();
  // Nothing is left beside the criterion on screen: it is accepted by itself.
  else if (!pressedElsewhere(name) && name === "A" && find("#do-save")?.value === "") press("a");
}

export function announce(words) {
  if (words) find("#announcement").textContent = words.trim();
}

function onKey(event) {
  const { key, target } = event;
  if (isForOthers(event) || find("dialog[open]")) return;
  const field = target.closest?.(WRITES);
  if (field) {
    if (key === "Escape") field.blur();
    if (key === "Enter" && field.matches("input")) onEnter(event, field);
    return;
  }
  if (key === "Escape") {
    clearMark();
    return;
  }
  if (key === " " && target.matches?.(":is(button, a, summary, input):focus-visible")) return;
  if (key.startsWith("Arrow") && target.closest?.("input[type=radio]")) return;
  const name = nameOf(event);
  const note = find("#note");
  if (name === "o" && note) {
    event.preventDefault();
    note.focus();
    note.setSelectionRange(note.value.length, note.value.length);
  } else if (name === "b") {
    const other = find("input[name=how]:not(:checked):not(:disabled)");
    if (other) other.checked = true;
    announce(other?.labels[0].textContent);
  } else if (isKey(name)) {
    event.preventDefault();
    keys.take(name);
  }
}

// Enter in the note saves it, as a reject where nothing is judged yet. In any other field it only
// leaves the field: a value or a magnification judges nothing by itself.
function onEnter(event, field) {
  event.preventDefault();
  const { id, form } = field;
  field.blur();
  if (id === "because" && field.value.trim()) {
    find(`#${field.dataset.presses ?? "accept-by-eye"}`).click();
  }
  if (id !== "note") return;
  const save = find("button[name=outcome][aria-hidden]", form);
  const isJudged = save.value !== "";
  if (isJudged || field.value.trim() !== "") (isJudged ? save : find("#do-reject")).click();
}

// elsewhere: (name) => whether a key that no button has did something
export function listenToKeys(elsewhere) {
  pressedElsewhere = elsewhere;
  document.addEventListener("keydown", onKey);
}
