// Keys and clickers for a lesson on the wall. Without this every screen is led to by its links.

/** What a key asks for, or "" where it asks for nothing here. */
export function asked(key) {
  const acts = {
    ArrowRight: "next",
    ArrowDown: "next",
    PageDown: "next",
    " ": "next",
    ArrowLeft: "prev",
    ArrowUp: "prev",
    PageUp: "prev",
    Home: "first",
    End: "last",
    Escape: "leave",
    d: "drawing",
    x: "fails",
    f: "whole",
  };
  return acts[key] ?? acts[key.toLowerCase()] ?? "";
}

const ALONE = "drawing-alone";
let lastStep = "";

function shown() {
  const named = location.hash ? document.getElementById(location.hash.slice(1)) : null;
  return named?.classList.contains("step") ? named : document.querySelector(".step.default");
}

function follow(link) {
  const address = link?.getAttribute("href");
  if (address?.startsWith("#")) {
    location.replace(address); // Back leads out of the lesson, not through its steps.
  } else if (address) {
    location.assign(address);
  }
}

function toFails(screen) {
  if (screen.classList.contains("fails")) {
    location.replace(lastStep || screen.querySelector("[data-back]").getAttribute("href"));
  } else {
    lastStep = `#${screen.id}`;
    follow(screen.querySelector("[data-fails]"));
  }
}

async function whole() {
  try {
    await (document.fullscreenElement
      ? document.exitFullscreen()
      : document.documentElement.requestFullscreen());
  } catch {
    // A browser that has no whole screen to give shows the page as it is.
  }
}

function leave(screen) {
  if (document.body.classList.contains(ALONE)) {
    document.body.classList.remove(ALONE);
  } else if (screen.classList.contains("fails")) {
    toFails(screen);
  } else {
    location.assign(document.querySelector("[data-leave]").href);
  }
}

function act(what, screen) {
  const steps = document.querySelectorAll(".step:not(.fails)");
  const acts = {
    next: () => follow(screen.querySelector('[rel="next"]')),
    prev: () => follow(screen.querySelector('[rel="prev"]')),
    first: () => location.replace(`#${steps[0].id}`),
    last: () => location.replace(`#${steps[steps.length - 1].id}`),
    drawing: () => document.body.classList.toggle(ALONE),
    fails: () => toFails(screen),
    whole,
    leave: () => leave(screen),
  };
  acts[what]();
}

function begin() {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const what = asked(event.key);
    if (!what || (event.key === " " && event.target.closest("a, button"))) return;
    event.preventDefault();
    act(what, shown());
  });
  addEventListener("hashchange", (event) => {
    const screen = shown();
    const before = new URL(event.oldURL).hash;
    if (before.startsWith("#step-")) lastStep = before;
    screen.querySelector("h1")?.focus({ preventScroll: true });
    scrollTo(0, 0);
  });
}

if (globalThis.document?.body.classList.contains("lesson")) begin();
