// A shared tablet, which the server locks once nobody has used it: here the page is taken away
// in time, what was typed is kept for whoever typed it, and typing counts as using it.

const bar = document.querySelector(".tablet-bar");
const locked = document.querySelector("#tablet[data-locked=yes]");
const TELL_EVERY_MS = 30_000;
const LOOK_EVERY_MS = 1_000;

const store = {
  get: (key) => {
    try {
      return sessionStorage.getItem(key);
    } catch {
      return null; // A browser that keeps nothing.
    }
  },
  set: (key, value) => {
    try {
      if (value === null) sessionStorage.removeItem(key);
      else sessionStorage.setItem(key, value);
    } catch {
      // Full, or forbidden: then nothing is kept.
    }
  },
};

// Who was locked out, so that what they typed comes back to them and to nobody else.
if (locked) store.set(`locked:${locked.dataset.reader}`, "1");

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
  const who = `locked:${bar.dataset.reader}`;
  const kept = store.get(draftKey());
  const wasLocked = store.get(who);
  store.set(draftKey(), null);
  store.set(who, null);
  if (!kept || !wasLocked) return;
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
  let used = Date.now();
  let told = Date.now();
  let going = false;

  const lock = async () => {
    going = true;
    keepDraft();
    document.body.classList.add("is-away");
    try {
      const answer = await fetch("/tablet/lock/", {
        method: "POST", headers: { "X-CSRFToken": token() }, redirect: "manual",
      });
      if (answer.type !== "opaqueredirect" && !answer.ok) throw new Error("not locked");
      location.replace(lockPage());
    } catch {
      // No network: nothing is to be seen until the server can be asked who is there.
      document.querySelector("#tablet-away").hidden = false;
      setTimeout(lock, 5_000);
    }
  };

  const use = async () => {
    if (going) return;
    const now = Date.now();
    if (now - used >= lockAfterMs) return lock();
    used = now;
    if (now - told < TELL_EVERY_MS) return;
    told = now;
    try {
      const answer = await fetch("/tablet/awake/", { redirect: "manual" });
      if (answer.type === "opaqueredirect") {
        keepDraft();
        location.replace(lockPage());
      }
    } catch {
      // The next tap tries again.
    }
  };

  for (const what of ["pointerdown", "keydown"]) document.addEventListener(what, use, true);
  setInterval(() => {
    if (!going && Date.now() - used >= lockAfterMs) lock();
  }, LOOK_EVERY_MS);

  // The server may have locked before us: what was typed is kept when a form or a piece goes out.
  document.addEventListener("submit", keepDraft, true);
  document.body.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.xhr.getResponseHeader("HX-Redirect")) keepDraft();
  });
  bringBack();
}
