// A shared tablet, which the server locks once nobody has used it: here the page is taken away
// in time, what was typed is kept for whoever typed it, and typing counts as using it.

import { csrfToken, find, findAll } from "./lib/page.js";
import { ofAllWindows, ofThisWindow } from "./lib/storage.js";

const bar = find(".tablet-bar");
const asksWho = find("#tablet");
const asksInFull = find("#looking-only");
const TELL_EVERY_MS = 30_000;
const LOOK_EVERY_MS = 1_000;
const LAST_USED = "tablet-used";
// What one window hides no other leaves on the screen until somebody taps it.
const windows = "BroadcastChannel" in window ? new BroadcastChannel("tablet") : null;
const tellWindows = () => windows?.postMessage("lock");
// A page without the bar is of a tablet that is locked, or of nobody any more.
if (!bar) tellWindows();

// Who was asked for a PIN or password, so that what they typed comes back to them and to nobody else.
const asked = asksWho?.dataset.reader ?? (asksInFull && bar?.dataset.reader);
if (asked) ofThisWindow.set(`asked:${asked}`, "1");

// A scanner types the badge and presses Enter: on to the PIN.
find("#id_badge")?.addEventListener("keydown", (event) => {
  const pin = find("#id_pin");
  if (event.key !== "Enter" || pin.value) return;
  event.preventDefault();
  pin.focus();
});

const FIELDS = "main :is(input, textarea, select)";
const isKept = (field) =>
  field.name &&
  !("noDraft" in field.dataset) &&
  !["password", "hidden", "file", "submit", "button"].includes(field.type);
const isChecked = (field) => ["checkbox", "radio"].includes(field.type);
const contentOf = (field) => (isChecked(field) ? field.checked : field.value);

const draftKey = () => `draft:${bar.dataset.reader}:${location.pathname}`;

function keepDraft() {
  if (asksWho || asksInFull) return;
  const typed = findAll(FIELDS)
    .map((field, at) => [at, field])
    .filter(([, field]) => isKept(field))
    .filter(([, field]) =>
      isChecked(field)
        ? field.checked !== field.defaultChecked
        : field.tagName === "SELECT"
          ? ![...field.options].every((option) => option.selected === option.defaultSelected)
          : field.value !== field.defaultValue,
    )
    .map(([at, field]) => ({ at, name: field.name, value: contentOf(field) }));
  ofThisWindow.set(draftKey(), typed.length ? JSON.stringify(typed) : null);
}

function bringBack() {
  if (asksWho || asksInFull) return;
  const who = `asked:${bar.dataset.reader}`;
  const kept = ofThisWindow.get(draftKey());
  const wasAsked = ofThisWindow.get(who);
  ofThisWindow.set(draftKey(), null);
  ofThisWindow.set(who, null);
  if (!kept || !wasAsked) return;
  const fields = findAll(FIELDS);
  for (const { at, name, value } of JSON.parse(kept)) {
    const field =
      fields[at]?.name === name ? fields[at] : fields.find((other) => other.name === name);
    if (!field || !isKept(field)) continue;
    if (isChecked(field)) field.checked = value;
    else field.value = value;
    field.closest("details")?.setAttribute("open", "");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

if (bar) {
  const lockAfterMs = Number(bar.dataset.minutes) * 60_000;
  const lockPage = () => `/tablet/?next=${encodeURIComponent(location.pathname + location.search)}`;
  let used = 0;
  let lastTold = Date.now();
  let isLeaving = false;

  const note = () => {
    used = Date.now();
    ofAllWindows.set(LAST_USED, String(used));
  };

  // Another window of this browser may be the one in use.
  const idleMs = () => {
    const now = Date.now();
    const inOthers = Number(ofAllWindows.get(LAST_USED));
    if (inOthers > used && inOthers <= now) used = inOthers;
    return now - used;
  };

  // What a page asks before it is left, it does not ask once it is away: nobody may be there.
  const leave = () => {
    isLeaving = true;
    keepDraft();
    document.body.classList.add("is-away");
  };
  const toTheLock = () => {
    leave();
    location.replace(lockPage());
  };

  const lock = async () => {
    leave();
    try {
      const answer = await fetch("/tablet/lock/", {
        method: "POST",
        headers: { "X-CSRFToken": csrfToken() },
        redirect: "manual",
      });
      // A 403 is an answer too: of somebody on the way, or about a session that is over.
      const came = answer.type === "opaqueredirect" || answer.ok || answer.status === 403;
      if (!came) throw new Error("not locked");
      toTheLock();
    } catch {
      // No network: nothing is to be seen until the server can be asked who is there.
      find("#tablet-away").hidden = false;
      setTimeout(lock, 5_000);
    }
  };

  const use = async () => {
    if (isLeaving) return;
    if (idleMs() >= lockAfterMs) return lock();
    note();
    if (used - lastTold < TELL_EVERY_MS) return;
    lastTold = used;
    try {
      const answer = await fetch("/tablet/awake/", { redirect: "manual" });
      if (answer.type === "opaqueredirect") toTheLock();
    } catch {
      // The next tap tries again.
    }
  };

  note();
  // A photograph that arrives is somebody's work as well.
  for (const what of ["pointerdown", "keydown", "photograph:stored"]) {
    document.addEventListener(what, use, true);
  }
  setInterval(() => {
    if (!isLeaving && idleMs() >= lockAfterMs) lock();
  }, LOOK_EVERY_MS);

  windows?.addEventListener("message", () => {
    if (!isLeaving) lock();
  });
  document.addEventListener("submit", (event) => {
    if (event.target.getAttribute("action") === "/tablet/lock/") tellWindows();
  });

  // The server may have locked before us: what was typed is kept when a form or a piece goes out.
  document.addEventListener("submit", keepDraft, true);
  for (const link of findAll("a", bar)) link.addEventListener("click", keepDraft);
  document.body.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.xhr.getResponseHeader("HX-Redirect")) keepDraft();
  });
  bringBack();
}
