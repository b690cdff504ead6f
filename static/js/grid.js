// Grids: the button says exactly what it will record, rows tell what is recorded of the chosen
// day already, and one key chooses for the row and goes on to the next.

import { fill, find, findAll } from "./lib/page.js";

const RESULT_BY_KEY = { p: "pass", f: "fail", 0: "" };
const STEP_BY_KEY = { ArrowDown: 1, ArrowUp: -1 };

// "Sat 28 Nov", with the year where it is not this one.
export function dayInWords(isoDay, language, thisYear = new Date().getFullYear()) {
  const day = new Date(`${isoDay}T00:00:00Z`);
  if (Number.isNaN(day.getTime())) return "";
  const words = new Intl.DateTimeFormat(language, {
    weekday: "short",
    day: "numeric",
    month: "short",
    year: "numeric",
    timeZone: "UTC",
  }).formatToParts(day);
  const part = (type) => words.find((one) => one.type === type).value;
  const said = [part("weekday"), part("day"), part("month")];
  if (day.getUTCFullYear() !== thisYear) said.push(part("year"));
  return said.join(" ");
}

// What is chosen, in words: "9 passes and 1 fail"; empty where nothing is.
export function counted(values, words) {
  return Object.entries(words.kinds)
    .map(([value, [one, many]]) => {
      const n = values.filter((chosen) => chosen === value).length;
      return n && fill(n === 1 ? one : many, { n });
    })
    .filter(Boolean)
    .join(words.and);
}

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
    const day = dayField ? dayInWords(dayField.value, document.documentElement.lang) : words.of;
    button.textContent = what ? fill(words.record, { what, day }) : words.nothing;
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

function choose(input) {
  input.checked = true;
  input.dispatchEvent(new Event("input", { bubbles: true }));
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
    const wanted = find(`input[type=radio][value="${RESULT_BY_KEY[key]}"]`, row);
    if (!wanted) return;
    choose(wanted);
    placeIn(another(1) ?? row).focus();
  } else if (key === "g") {
    const lenses = find("input[type=checkbox]", row);
    if (!lenses) return;
    lenses.click();
  } else return;
  event.preventDefault();
}

for (const form of findAll("form[data-grid]")) {
  follow(form);
  form.addEventListener("keydown", (event) => onKey(form, event));
}
