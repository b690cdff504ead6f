// Grids: the button says exactly what it will record, rows tell what is recorded of the chosen
// day already, and one key chooses for the row and goes on to the next.

import { counted, dayInWords } from "./grid-words.js";
import { fill, find, findAll } from "./lib/page.js";

const RESULT_BY_KEY = { p: "pass", f: "fail", 0: "" };
const STEP_BY_KEY = { ArrowDown: 1, ArrowUp: -1 };

// What each row of a form stands at: the value of what is chosen in it, or "off".
const standings = (form) =>
  findAll("input[type=radio]:checked, input[data-ticks]", form).map((input) => {
    if (input.type === "radio") return input.value;
    return input.checked ? "on" : "off";
  });

function follow(form) {
  const button = find("[data-words]", form);
  const words = JSON.parse(button.dataset.words);
  const dayField = words.day && form.elements.namedItem(words.day);

  function say() {
    const what = counted(standings(form), words);
    const language = document.documentElement.lang;
    const day = dayField ? dayInWords(dayField.value, language, words.days) : words.of;
    const also = words.also && (form.elements.namedItem(words.also).value.trim() || "…");
    button.textContent = what ? fill(words.record, { what, day, also }) : words.nothing;
    if (!dayField) return;
    for (const note of findAll(".grid-row:not(.is-error) [data-note-of]", form))
      note.hidden = note.dataset.noteOf !== dayField.value;
  }

  form.addEventListener("input", say);
  window.addEventListener("pageshow", say);
  say();
}

const rowsOf = (form) => findAll(".grid-row", form);

// Where a row takes its keys: what is chosen in it.
const placeIn = (row) =>
  find("input[type=radio]:checked", row) ?? find("input:not([type=hidden])", row);

// Have a row stand at a result; a name to tick knows two of them. False where it knows it not.
function choose(row, result) {
  const tick = find("input[data-ticks]", row);
  const wanted = tick ?? find(`input[type=radio][value="${result}"]`, row);
  if (!wanted || (tick && result === "fail")) return false;
  wanted.checked = !tick || result === "pass";
  wanted.dispatchEvent(new Event("input", { bubbles: true }));
  return true;
}

function onKey(form, event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const row = event.target.closest?.(".grid-row");
  if (!row || !event.target.matches("input[type=radio], input[type=checkbox]")) return;
  const rows = rowsOf(form);
  const another = (step) => rows[rows.indexOf(row) + step];
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key in STEP_BY_KEY) {
    const next = another(STEP_BY_KEY[key]);
    if (next) placeIn(next).focus();
  } else if (key in RESULT_BY_KEY) {
    if (!choose(row, RESULT_BY_KEY[key])) return;
    placeIn(another(1) ?? row).focus();
  } else if (key === "g") {
    const lenses = find("input[type=checkbox]:not([data-ticks])", row);
    if (!lenses) return;
    lenses.click();
  } else return;
  event.preventDefault();
}

for (const form of findAll("form[data-grid]")) {
  follow(form);
  form.addEventListener("keydown", (event) => onKey(form, event));
}
