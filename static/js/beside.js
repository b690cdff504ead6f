// Beside the joint under judgement: an earlier board, the maker's own reading, drawings, turned
// by C and shown one at a time. Nothing is asked of the server while it is closed, and judging
// never waits for it. Without this script the link leads to a page with all of it.

const $ = (selector, from = document) => from.querySelector(selector);
const SETTLE_MS = 150;
const MOST_KEPT = 40;
const FIRST = "first"; // opened, and not known yet what there is

let view = ""; // which part is shown; empty is closed
let other = ""; // the earlier board that was chosen
let shows = ""; // the address whose answer stands in the panel
let later = null;
let pointer = { x: 50, y: 50 }; // percent of the photograph
const kept = new Map();

function address() {
  const link = $("#show-beside");
  if (!link) return "";
  const url = new URL(link.href);
  const form = $("#judge");
  if (form) {
    url.searchParams.set("joint", form.elements.joint.value);
    url.searchParams.set("criterion", form.elements.criterion.value);
  }
  if (other) url.searchParams.set("other", other);
  return url.href;
}

async function ask(wanted) {
  if (!kept.has(wanted)) {
    const answer = await fetch(wanted, { headers: { "HX-Request": "true" } });
    if (!answer.ok || answer.redirected) throw new Error(answer.statusText);
    if (kept.size >= MOST_KEPT) kept.delete(kept.keys().next().value);
    kept.set(wanted, await answer.text());
  }
  return kept.get(wanted);
}

// What was judged meanwhile is not in an answer that was kept.
document.addEventListener("submit", () => kept.clear(), true);

async function show() {
  const panel = $("#beside");
  if (!panel) return;
  const opens = panel.hidden && view;
  panel.hidden = !view;
  closer();
  if (!view) return;
  const wanted = address();
  if (shows !== wanted || !panel.childElementCount) {
    try {
      const text = await ask(wanted);
      if (wanted !== address() || !view) return;
      const page = new DOMParser().parseFromString(text, "text/html");
      panel.replaceChildren(...page.body.childNodes);
      shows = wanted;
    } catch {
      if (wanted !== address() || !view) return;
      panel.replaceChildren(Object.assign(document.createElement("p"), { textContent: panel.dataset.silent }));
      shows = "";
      return;
    }
  }
  turn(panel);
  // On a phone it stands far above the button that opens it.
  if (opens) panel.scrollIntoView({ block: "nearest" });
}

// What C turns through: an earlier board first; where there is none, the drawings.
function order(panel) {
  const there = views(panel);
  const empty = $("[data-view=earlier][data-empty]", panel);
  return empty ? there.filter((one) => one !== "earlier").reverse() : there;
}

const views = (panel) => [...panel.querySelectorAll("[data-view]")].map((one) => one.dataset.view);

function turn(panel) {
  const there = views(panel);
  if (view === FIRST) view = order(panel)[0];
  const now = there.includes(view) ? view : there[0];
  for (const one of panel.querySelectorAll("[data-view]")) one.hidden = one.dataset.view !== now;
  $(".beside-tabs", panel).hidden = false;
  for (const one of panel.querySelectorAll("[data-turn]")) {
    if (one.dataset.turn === now) one.setAttribute("aria-current", "true");
    else one.removeAttribute("aria-current");
  }
}

async function next() {
  const panel = $("#beside");
  const there = order(panel);
  if (!view) view = FIRST;
  else view = there[there.indexOf(there.includes(view) ? view : there[0]) + 1] ?? "";
  if (panel && $("[data-view]", panel) && shows !== address()) shows = "";
  await show();
  say();
}

function say() {
  const panel = $("#beside");
  const title = view && $(`[data-view="${view}"]`, panel)?.getAttribute("aria-label");
  if (title) $("#said").textContent = title;
}

// Both pictures come closer together, round the place where the pointer was over one of them.
function closer() {
  const button = $("#go-closer");
  const stage = $(".stage");
  if (!button || !stage) return;
  button.hidden = !$(".stage .photograph");
  stage.classList.toggle("is-closer", button.getAttribute("aria-pressed") === "true");
  stage.style.setProperty("--closer-x", `${pointer.x}%`);
  stage.style.setProperty("--closer-y", `${pointer.y}%`);
}

document.addEventListener("pointermove", (event) => {
  const picture = event.target.closest?.(".stage .photograph, .beside-photo svg");
  const button = $("#go-closer");
  if (!picture || button?.getAttribute("aria-pressed") === "true") return;
  const box = picture.getBoundingClientRect();
  pointer = {
    x: Math.round(((event.clientX - box.left) / box.width) * 100),
    y: Math.round(((event.clientY - box.top) / box.height) * 100),
  };
});

document.addEventListener("click", (event) => {
  const on = (selector) => event.target.closest?.(selector);
  const button = on("#go-closer");
  const tab = on("#beside [data-turn]");
  const board = on("#beside [data-other]");
  if (button) {
    button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
    closer();
  } else if (on("#show-beside") && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    next();
  } else if (tab) {
    view = tab.dataset.turn;
    show();
  } else if (board && !event.ctrlKey && !event.metaKey) {
    event.preventDefault();
    other = board.dataset.other;
    show();
  }
});

function again() {
  closer();
  if (!view) return;
  clearTimeout(later);
  later = setTimeout(show, SETTLE_MS);
}

document.addEventListener("desk:drawn", again);
document.body.addEventListener("htmx:afterSettle", again);
closer();
