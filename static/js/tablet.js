// A shared tablet, which the server locks once nobody has used it: here the page is taken away
// in time, what was typed is kept for whoever typed it, and typing counts as using it.

const bar = document.querySelector(".tablet-bar");
const asksWho = document.querySelector("#tablet");
const asksInFull = document.querySelector("#looking-only");
const TELL_EVERY_MS = 30_000;
const LOOK_EVERY_MS = 1_000;
const LAST_USED = "tablet-used";
// What one window hides no other leaves on the screen until somebody taps it.
const windows = "BroadcastChannel" in window ? new BroadcastChannel("tablet") : null;
const tellWindows = () => windows?.postMessage("lock");
// A page without the bar is of a tablet that is locked, or of nobody any more.
if (!bar) tellWindows();

const keeper = (area) => ({
  get: (key) => {
    try {
      return window[area].getItem(key);
    } catch {
      return null; // A browser that keeps nothing.
    }
  },
  set: (key, value) => {
    try {
      if (value === null) window[area].removeItem(key);
      else window[area].setItem(key, value);
    } catch {
      // Full, or forbidden: then nothing is kept.
    }
  },
});
const store = keeper("sessionStorage");
const ofAllWindows = keeper("localStorage");

// Who was asked for a PIN or password, so that what they typed comes back to them and to nobody else.
const asked = asksWho?.dataset.reader ?? (asksInFull && bar?.dataset.reader);
if (asked) store.set(`asked:${asked}`, "1");

// A scanner types the badge and presses Enter: on to the PIN.
document.querySelector("#id_badge")?.addEventListener("keydown", (event) => {
  const pin = document.querySelector("#id_pin");
  if (event.key !== "Enter" || pin.value) return;
  event.preventDefault();
  pin.focus();
});

const FIELDS = "main :is(input, textarea, select)";
const KEPT = (field) =>
  field.name && !["password", "hidden", "file", "submit", "button"].includes(field.type);
const isChecked = (field) => ["checkbox", "radio"].includes(field.type);
const valueOf = (field) => (isChecked(field) ? field.checked : field.value);

const draftKey = () => `draft:${bar.dataset.reader}:${location.pathname}`;

function keepDraft() {
  if (asksWho || asksInFull) return;
  const typed = [...document.querySelectorAll(FIELDS)].map((field, at) => [at, field])
    .filter(([, field]) => KEPT(field))
    .filter(([, field]) =>
      isChecked(field) ? field.checked !== field.defaultChecked
        : field.tagName === "SELECT" ? ![...field.options].every((one) => one.selected === one.defaultSelected)
          : field.value !== field.defaultValue)
    .map(([at, field]) => ({ at, name: field.name, value: valueOf(field) }));
  store.set(draftKey(), typed.length ? JSON.stringify(typed) : null);
}

function bringBack() {
  if (asksWho || asksInFull) return;
  const who = `asked:${bar.dataset.reader}`;
  const kept = store.get(draftKey());
  const wasAsked = store.get(who);
  store.set(draftKey(), null);
  store.set(who, null);
  if (!kept || !wasAsked) return;
  const fields = [...document.querySelectorAll(FIELDS)];
  for (const { at, name, value } of JSON.parse(kept)) {
    const field = fields[at]?.name === name ? fields[at] : fields.find((one) => one.name === name);
    if (!field || !KEPT(field)) continue;
    if (isChecked(field)) field.checked = value;
    else field.value = value;
    field.closest("details")?.setAttribute("open", "");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

if (bar) {
  const lockAfterMs = Number(bar.dataset.minutes) * 60_000;
  const token = () => JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];
  const lockPage = () => `/tablet/?next=${encodeURIComponent(location.pathname + location.search)}`;
  let used = 0;
  let told = Date.now();
  let going = false;

  const note = () => {
    used = Date.now();
    ofAllWindows.set(LAST_USED, String(used));
  };

  // Another window of this browser may be the one in use.
  const idleMs = () => {
    const now = Date.now();
    const elsewhere = Number(ofAllWindows.get(LAST_USED));
    if (elsewhere > used && elsewhere <= now) used = elsewhere;
    return now - used;
  };

  // What a page asks before it is left, it does not ask once it is away: nobody may be there.
  const leave = () => {
    going = true;
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
        method: "POST", headers: { "X-CSRFToken": token() }, redirect: "manual",
      });
      // A 403 is an answer too: of somebody on the way, or about a session that is over.
      const came = answer.type === "opaqueredirect" || answer.ok || answer.status === 403;
      if (!came) throw new Error("not locked");
      toTheLock();
    } catch {
      // No network: nothing is to be seen until the server can be asked who is there.
      document.querySelector("#tablet-away").hidden = false;
      setTimeout(lock, 5_000);
    }
  };

  const use = async () => {
    if (going) return;
    if (idleMs() >= lockAfterMs) return lock();
    note();
    if (used - told < TELL_EVERY_MS) return;
    told = used;
    try {
      const answer = await fetch("/tablet/awake/", { redirect: "manual" });
      if (answer.type === "opaqueredirect") toTheLock();
    } catch {
      // The next tap tries again.
    }
  };

  note();
  // A photograph that arrives is somebody's work as well.
  for (const what of ["pointerdown", "keydown", "arrived"]) {
    document.addEventListener(what, use, true);
  }
  setInterval(() => {
    if (!going && idleMs() >= lockAfterMs) lock();
  }, LOOK_EVERY_MS);

  windows?.addEventListener("message", () => {
    if (!going) lock();
  });
  document.addEventListener("submit", (event) => {
    if (event.target.getAttribute("action") === "/tablet/lock/") tellWindows();
  });

  // The server may have locked before us: what was typed is kept when a form or a piece goes out.
  document.addEventListener("submit", keepDraft, true);
  for (const link of bar.querySelectorAll("a")) link.addEventListener("click", keepDraft);
  document.body.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.xhr.getResponseHeader("HX-Redirect")) keepDraft();
  });
  bringBack();
}
