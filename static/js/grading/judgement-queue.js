// What was judged waits here until the site has it: in the browser's own storage, so that a
// reload loses nothing; in order; each act under a key by which the site knows it again.

import { csrfToken } from "../lib/page.js";
import { ofAllWindows } from "../lib/storage.js";
import { UploadQueue } from "../lib/upload-queue.js";

const RETRY_AFTER_MS = [1_000, 2_000, 5_000, 10_000, 20_000];
const NO_ANSWER_AFTER_MS = 20_000;

// Random, as RFC 9562 lays a version 4 key out; crypto.randomUUID asks for https.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export const queueName = ({ reader, board, own }) =>
  `grading:${reader}:${board}:${own ? "own" : "grade"}`;

export const queuesOf = (reader) =>
  ofAllWindows.keys().filter((name) => name.startsWith(`grading:${reader}:`));

// How many acts of a queue the site does not have, for a page that only asks.
export function countUnsaved(name) {
  const kept = ofAllWindows.getJson(name);
  return kept ? kept.items.length + kept.refused.length : 0;
}

async function post({ to, fields, key }) {
  let response;
  try {
    response = await fetch(to, {
      method: "POST",
      body: new URLSearchParams({ ...fields, key }),
      headers: { Accept: "application/json", "X-CSRFToken": csrfToken() },
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
  } catch (error) {
    // The page was left before the whole answer had come: asked again, it says the same.
    if (!(error instanceof SyntaxError)) return { later: "offline" };
    // Done or not: the session got another key while the act was under way.
    const unknown = response.ok || response.status === 400;
    return unknown ? { later: "failing" } : { saved: false, answer: { says: "" } };
  }
}

export class JudgementQueue {
  // heard: (what, item, answer) => told that it "changed", or what was "saved" or "refused"
  // send: (item) => what came of it, as post() says it
  constructor(name, { heard, send = post }) {
    this.name = name;
    this.heard = heard;
    this.post = send;
    this.kept = { items: [], refused: [], overwrote: [], flying: null };
    this.uploads = new UploadQueue({
      waiting: () => {
        this.read();
        return this.items.slice(0, 1); // In order: the next only once this one is settled.
      },
      send: (item) => this.sendOne(item),
      lane: () => name,
      retryAfterMs: RETRY_AFTER_MS,
      // Of several windows with one board, one sends. Where the browser cannot hold a lock, each
      // act's key still keeps it from being done twice.
      alone: (act) => (navigator.locks ? navigator.locks.request(name, act) : act()),
      changed: () => this.heard("changed"),
    });
    this.read();
    window.addEventListener("online", () => this.send());
    window.addEventListener("storage", (event) => {
      if (event.key !== name) return;
      this.read();
      heard("changed");
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

  // What acts replaced that their page did not show, until somebody has read it.
  get overwrote() {
    return this.kept.overwrote;
  }

  get state() {
    return this.uploads.state;
  }

  read() {
    const text = ofAllWindows.get(this.name);
    if (text === null && this.isMemoryOnly) return;
    try {
      const kept = text ? JSON.parse(text) : { items: [], refused: [], flying: null };
      this.kept = { ...kept, overwrote: kept.overwrote ?? [] };
    } catch {
      // Something else under this name: what this window has.
    }
  }

  write() {
    const left = this.items.length || this.refused.length || this.overwrote.length;
    ofAllWindows.setJson(this.name, left ? this.kept : null);
    // A browser that keeps nothing: this window alone has it.
    this.isMemoryOnly = Boolean(left) && ofAllWindows.get(this.name) === null;
  }

  add(to, fields, act, key = newKey()) {
    this.read();
    const item = { key, to, fields, act };
    this.items.push(item);
    this.write();
    this.heard("changed");
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
    const refusal = this.refused.find((item) => item.key === key);
    this.kept.refused = this.refused.filter((item) => item.key !== key);
    this.write();
    return refusal;
  }

  dismissOverwrote(key) {
    this.read();
    this.kept.overwrote = this.overwrote.filter((told) => told.key !== key);
    this.write();
  }

  send() {
    return this.uploads.run();
  }

  async sendOne(item) {
    this.kept.flying = item.key;
    this.write();
    const { later, saved, answer } = await this.post(item);
    this.read();
    this.kept.flying = null;
    if (later) {
      this.write();
      return later;
    }
    this.kept.items = this.items.filter((kept) => kept.key !== item.key);
    if (!saved) this.refused.push({ ...item, says: answer.says });
    if (answer.overwrote) this.overwrote.push({ key: item.key, says: answer.overwrote });
    this.write();
    this.heard(saved ? "saved" : "refused", item, answer);
    return "";
  }
}
