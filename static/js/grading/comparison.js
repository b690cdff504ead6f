// Beside the joint under judgement: an earlier board, the maker's own reading, the make before,
// somebody else's good one, drawings; turned by C, or each opened and closed by a key of its own,
// and shown one at a time. Nothing is asked of the server while it is closed, and judging
// never waits for it. Without this script the link leads to a page with all of it.

import { asPage, find, findAll } from "../lib/page.js";
import { announce } from "./keyboard.js";

const SETTLE_MS = 150;
const MOST_KEPT = 40;
const FIRST = "first"; // opened, and not known yet what there is
const VIEW_OF_KEY = { d: "drawings", f: "make", g: "example" };

let view = ""; // which part is shown; empty is closed
let board = ""; // the earlier board that was chosen
let shown = ""; // the address whose answer stands in the panel
let timer = 0;
let pointer = { x: 50, y: 50 }; // percent of the photograph
const answers = new Map();

function address() {
  const link = find("#show-comparison");
  if (!link) return "";
  const url = new URL(link.href);
  const form = find("#judge");
  if (form) {
    url.searchParams.set("joint", form.elements.joint.value);
    url.searchParams.set("criterion", form.elements.criterion.value);
  }
  if (board) url.searchParams.set("other", board);
  return url.href;
}

async function fetchAnswer(wanted) {
  if (!answers.has(wanted)) {
    const answer = await fetch(wanted, { headers: { "HX-Request": "true" } });
    if (!answer.ok || answer.redirected) throw new Error(answer.statusText);
    if (answers.size >= MOST_KEPT) answers.delete(answers.keys().next().value);
    answers.set(wanted, await answer.text());
  }
  return answers.get(wanted);
}

async function show() {
  const panel = find("#comparison");
  if (!panel) return;
  const opens = panel.hidden && view;
  panel.hidden = !view;
  zoom();
  if (!view) return;
  const wanted = address();
  if (shown !== wanted || !panel.childElementCount) {
    try {
      const text = await fetchAnswer(wanted);
      if (wanted !== address() || !view) return;
      panel.replaceChildren(...asPage(text).body.childNodes);
      shown = wanted;
    } catch {
      if (wanted !== address() || !view) return;
      const sentence = document.createElement("p");
      sentence.textContent = panel.dataset.silent;
      panel.replaceChildren(sentence);
      shown = "";
      return;
    }
  }
  showView(panel);
  // On a phone it stands far above the button that opens it.
  if (opens) panel.scrollIntoView({ block: "nearest" });
}

const viewsOf = (panel) => findAll("[data-view]", panel).map((part) => part.dataset.view);

// What C turns through of what there is: an earlier board first; where there is none, the drawings.
function viewsInTurn(panel) {
  const views = viewsOf(panel).filter((name) => !find(`[data-view=${name}][data-empty]`, panel));
  return views.includes("earlier") ? views : views.reverse();
}

function showView(panel) {
  const views = viewsOf(panel);
  if (view === FIRST) [view] = viewsInTurn(panel);
  const current = views.includes(view) ? view : views[0];
  for (const part of findAll("[data-view]", panel)) part.hidden = part.dataset.view !== current;
  find(".comparison-tabs", panel).hidden = false;
  for (const tab of findAll("[data-shows]", panel)) {
    if (tab.dataset.shows === current) tab.setAttribute("aria-current", "true");
    else tab.removeAttribute("aria-current");
  }
}

async function showNext() {
  const panel = find("#comparison");
  const views = viewsInTurn(panel);
  if (!view) view = FIRST;
  else view = views[views.indexOf(views.includes(view) ? view : views[0]) + 1] ?? "";
  if (panel && find("[data-view]", panel) && shown !== address()) shown = "";
  await show();
  const part = view && find(`[data-view="${view}"]`, find("#comparison"));
  if (part) announce(part.getAttribute("aria-label"));
}

// A key that opens one part, and closes it; false for any other key.
export function pressedBeside(key) {
  const wanted = VIEW_OF_KEY[key];
  if (!wanted || !find("#comparison")) return false;
  view = view === wanted ? "" : wanted;
  show().then(() => {
    const part = view && find(`[data-view="${view}"]`, find("#comparison"));
    if (part) announce(part.getAttribute("aria-label"));
  });
  return true;
}

// Both pictures come closer together, round the place where the pointer was over one of them.
function zoom() {
  const button = find("#go-closer");
  const stage = find(".stage");
  if (!button || !stage) return;
  button.hidden = !find(".stage .photograph");
  stage.classList.toggle("is-closer", button.getAttribute("aria-pressed") === "true");
  stage.style.setProperty("--closer-x", `${pointer.x}%`);
  stage.style.setProperty("--closer-y", `${pointer.y}%`);
}

function onPointer(event) {
  const picture = event.target.closest?.(".stage .photograph, .comparison-photo svg");
  const button = find("#go-closer");
  if (!picture || button?.getAttribute("aria-pressed") === "true") return;
  const box = picture.getBoundingClientRect();
  pointer = {
    x: Math.round(((event.clientX - box.left) / box.width) * 100),
    y: Math.round(((event.clientY - box.top) / box.height) * 100),
  };
}

function onClick(event) {
  const on = (selector) => event.target.closest?.(selector);
  const button = on("#go-closer");
  const tab = on("#comparison [data-shows]");
  const chosen = on("#comparison [data-other]");
  if (button) {
    button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
    zoom();
  } else if (on("#show-comparison") && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    showNext();
  } else if (tab) {
    view = tab.dataset.shows;
    show();
  } else if (chosen && !event.ctrlKey && !event.metaKey) {
    event.preventDefault();
    board = chosen.dataset.other;
    show();
  }
}

// The screen shows another joint or criterion.
export function followScreen() {
  zoom();
  if (!view) return;
  clearTimeout(timer);
  timer = setTimeout(show, SETTLE_MS);
}

export function listenForComparison() {
  document.addEventListener("pointermove", onPointer);
  document.addEventListener("click", onClick);
  // What was judged meanwhile is not in an answer that was kept.
  document.addEventListener("submit", () => answers.clear(), true);
  zoom();
}
