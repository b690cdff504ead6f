// What was judged waits here until the site has it: in the browser's own storage, so that a
// reload loses nothing; in order; each act under a key by which the site knows it again.

const AGAIN_AFTER_MS = [1_000, 2_000, 5_000, 10_000, 20_000];
const NO_ANSWER_AFTER_MS = 20_000;

// Random, as RFC 9562 lays a version 4 key out; crypto.randomUUID asks for https.
function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// Of several windows with one board, one sends. Where the browser cannot hold a lock, each act's
// key still keeps it from being done twice.
const alone = (name, act) => (navigator.locks ? navigator.locks.request(name, act) : act());

class Queue {
  constructor(name, { token, told }) {
    this.name = name;
    this.token = token;
    this.told = told;
    this.state = "idle";
    this.tries = 0;
    this.kept = { items: [], refused: [], flying: null };
    this.read();
    window.addEventListener("online", () => this.send());
    window.addEventListener("storage", (event) => {
      if (event.key !== name) return;
      this.read();
      told("changed");
    });
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.send();
    });
  }

  get items() {
    return this.kept.items;
  }

  get refused() {
    return this.kept.refused;
  }

  read() {
    try {
      const text = localStorage.getItem(this.name);
      this.kept = text ? JSON.parse(text) : { items: [], refused: [], flying: null };
    } catch {
      // A browser that keeps nothing, or something else under this name: what this window has.
    }
  }

  write() {
    try {
      if (this.items.length || this.refused.length) {
        localStorage.setItem(this.name, JSON.stringify(this.kept));
      } else {
        localStorage.removeItem(this.name);
      }
    } catch {
      // Full, or forbidden: the window itself still has everything.
    }
  }

  add(to, fields, act) {
    this.read();
    const item = { key: newKey(), to, fields, act };
    this.items.push(item);
    this.write();
    this.told("changed");
    this.send();
    return item;
  }

  // Take the last act back before it was sent; nothing where it is on its way or there is none.
  dropLast() {
    this.read();
    const last = this.items.at(-1);
    if (!last || last.key === this.kept.flying || last.act.kind === "undo") return null;
    this.items.pop();
    this.write();
    return last;
  }

  dismiss(key) {
    this.read();
    const found = this.refused.find((one) => one.key === key);
    this.kept.refused = this.refused.filter((one) => one.key !== key);
    this.write();
    return found;
  }

  async send() {
    if (this.sending || !this.items.length) return;
    this.sending = true;
    clearTimeout(this.timer);
    try {
      await alone(this.name, () => this.sendAll());
    } finally {
      this.sending = false;
    }
    this.told("changed");
    if (this.state === "idle") {
      if (this.items.length) this.send();
      return;
    }
    const after = AGAIN_AFTER_MS[Math.min(this.tries, AGAIN_AFTER_MS.length - 1)];
    this.tries += 1;
    this.timer = setTimeout(() => this.send(), after);
  }

  async sendAll() {
    for (this.read(); this.items.length; this.read()) {
      const item = this.items[0];
      this.kept.flying = item.key;
      this.write();
      const { later, saved, answer } = await this.post(item);
      this.read();
      this.kept.flying = null;
      if (later) {
        this.write();
        this.state = later;
        return;
      }
      this.kept.items = this.items.filter((one) => one.key !== item.key);
      if (!saved) this.refused.push({ ...item, says: answer.says });
      this.write();
      this.state = "idle";
      this.tries = 0;
      this.told(saved ? "saved" : "refused", item, answer);
    }
    this.state = "idle";
  }

  async post(item) {
    let response;
    try {
      response = await fetch(item.to, {
        method: "POST",
        body: new URLSearchParams({ ...item.fields, key: item.key }),
        headers: { Accept: "application/json", "X-CSRFToken": this.token() },
        redirect: "manual",
        credentials: "same-origin",
        signal: AbortSignal.timeout?.(NO_ANSWER_AFTER_MS),
      });
    } catch {
      return { later: "offline" };
    }
    // Led to the sign-in, or the form's token is an earlier sign-in's.
    if (response.type === "opaqueredirect" || response.status === 403) return { later: "signedout" };
    if (response.status >= 500 || response.status === 429) return { later: "failing" };
    try {
      const answer = await response.json();
      return { saved: response.ok && answer.saved, answer };
    } catch {
      // Done or not: the session got another key while the act was under way.
      const unknown = response.ok || response.status === 400;
      return unknown ? { later: "failing" } : { saved: false, answer: { says: "" } };
    }
  }
}

window.GradeQueue = Queue;

// Before a signature: what this browser still has to send is no part of what is signed.
const waiting = document.querySelector("[data-queue]");
if (waiting) {
  const name = waiting.dataset.queue;
  let held = false;
  const look = () => {
    let kept = null;
    try {
      kept = JSON.parse(localStorage.getItem(name));
    } catch {
      // Nothing is kept here.
    }
    const left = kept ? kept.items.length + kept.refused.length : 0;
    waiting.hidden = left === 0;
    if (left === 0 && held) location.reload();
    held ||= left > 0;
    for (const one of document.querySelectorAll("[data-when-saved]")) one.disabled ||= held;
  };
  look();
  window.addEventListener("storage", look);
  window.addEventListener("pageshow", look);
}
