// A written test being answered: each answer is kept on this device and sent at once, again after
// a reload or once the network is back. The site’s clock decides; the one here only shows it.

import { JudgementQueue } from "./grading/judgement-queue.js";
import { fill, find, findAll } from "./lib/page.js";

const TYPED_FOR_MS = 900;
const SAY_AT_MIN = [10, 5, 1];

const page = find("#written-test");
const words = page.dataset;
const forms = findAll("form[data-order]", page);
const formOf = (order) => forms.find((form) => form.dataset.order === String(order));
const handIn = find("#hand-in");
const unsent = find("#unsent");
page.classList.add("is-scripted");

// ---- Answers

function givenIn(form) {
  const controls = findAll("[name=answer]", form);
  if (form.dataset.kind === "order") {
    const ranks = controls.map((one) => one.value);
    return ranks.some(Boolean) ? ranks : [];
  }
  if (form.dataset.kind === "number")
    return controls.map((one) => one.value.trim()).filter(Boolean);
  return controls.filter((one) => one.checked).map((one) => one.value);
}

function show(form, given) {
  findAll("[name=answer]", form).forEach((control, index) => {
    if (control.type === "radio" || control.type === "checkbox") {
      control.checked = given.includes(control.value);
    } else control.value = given[index] ?? "";
  });
}

function say(form, text, tone = "") {
  const said = find(".said", form);
  said.textContent = text;
  said.hidden = !text;
  said.dataset.tone = tone;
}

const queue = new JudgementQueue(`written-test:${words.reader}:${words.paper}`, {
  heard(what, item, answer) {
    if (what === "saved") {
      const waits = queue.items.some((one) => one.act.order === item.act.order);
      if (!waits) say(formOf(item.act.order), answer.late ? words.late : words.saved);
    } else if (what === "refused") {
      say(formOf(item.act.order), answer.says, "refused");
      queue.dismiss(item.key);
    }
    tell();
  },
});

function keep(form) {
  clearTimeout(form.typing);
  form.typing = null;
  const given = givenIn(form);
  const text = JSON.stringify(given);
  if (form.kept === text) return;
  form.kept = text;
  find(".unread", form)?.remove();
  say(form, words.toSave);
  const { order } = form.dataset;
  queue.add(words.to, { order, given: text }, { order, given });
}

function tell() {
  const answered = forms.filter((form) => givenIn(form).length).length;
  find("#answered").textContent = fill(words.answered, { n: answered, all: words.count });
  const waiting = new Set(queue.items.map((item) => item.act.order)).size;
  const stuck = queue.state !== "idle" && waiting > 0;
  const text = waiting ? fill(words.notSaved, { n: waiting }) : words.allSaved;
  // While an answer is merely under way nothing is said: it would be read aloud each time.
  const shown = waiting && !stuck ? "" : text;
  if (unsent.textContent !== shown) unsent.textContent = shown;
  unsent.classList.toggle("is-waiting", stuck);
  if (!waiting && navigator.onLine) {
    find(".wait", handIn).hidden = true;
    if (page.dataset.handIn) handIn.submit();
  }
}

for (const form of forms) {
  form.kept = JSON.stringify(givenIn(form));
  form.addEventListener("change", () => keep(form));
  form.addEventListener("input", (event) => {
    if (event.target.type !== "text") return;
    clearTimeout(form.typing);
    form.typing = setTimeout(() => keep(form), TYPED_FOR_MS);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep(form);
  });
}

// What this device still has to send is shown as it was given, whatever the page came with.
for (const { act } of queue.items) {
  const form = formOf(act.order);
  if (!form) continue;
  show(form, act.given);
  form.kept = JSON.stringify(act.given);
  say(form, words.toSave);
}

const keepTyped = () => {
  for (const form of forms) if (form.typing) keep(form);
};
window.addEventListener("pagehide", keepTyped);

handIn.addEventListener("submit", (event) => {
  keepTyped();
  if (!queue.items.length && navigator.onLine) return;
  event.preventDefault();
  const wait = find(".wait", handIn);
  wait.textContent = words.wait;
  wait.hidden = false;
  page.dataset.handIn = "asked";
  queue.send();
});

window.addEventListener("online", tell);

// ---- Time

const endsAt = performance.now() + 1000 * Number(words.leftS);
const told = new Set();
let over = false;

function tick() {
  const seconds = Math.max(Math.ceil((endsAt - performance.now()) / 1000), 0);
  const minutes = Math.floor(seconds / 60);
  const values = { minutes, seconds: String(seconds % 60).padStart(2, "0") };
  find("#time-left").textContent = seconds ? fill(words.left, values) : words.over;
  for (const at of SAY_AT_MIN) {
    if (seconds > at * 60 || told.has(at)) continue;
    told.add(at);
    if (seconds > (at - 1) * 60)
      find("#time-said").textContent = fill(words.minutesLeft, { minutes: at });
  }
  if (seconds || over) return;
  over = true;
  clearInterval(clock);
  keepTyped();
  find("#time-said").textContent = words.over;
  for (const form of forms) {
    for (const control of findAll("[name=answer]", form)) control.disabled = true;
  }
  handIn.requestSubmit();
}

const clock = setInterval(tick, 1000);
tick();
tell();
queue.send();
