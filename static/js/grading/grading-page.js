// The grading screen: a key is answered here at once, whatever the network does, and the site
// hears of it behind. Without this script every link and button asks the server.

import { fill, find } from "../lib/page.js";
import { BY_EYE, isByEye, listenForReasons, outcomeOf, reasonFor } from "./by-eye.js";
import { followScreen, listenForComparison, pressedBeside } from "./comparison.js";
import { holdFocus, keepFocusOver, restoreFocus } from "./focus.js";
import { GradingModel } from "./grading-model.js";
import { acceptedWithRest } from "./joint-state.js";
import { JudgementQueue, newKey, queueName } from "./judgement-queue.js";
import { keys, listenToKeys } from "./keyboard.js";
import { setMark } from "./mark.js";
import { preload } from "./preload.js";
import { dress, GradingScreen, part } from "./screen.js";

const CIRCUMSTANCES = ["how", "magnification"];

let model = null; // null where nothing is judged: a stage that is signed, a reader who only looks
let queue = null;
let screen = null;
let address = location.pathname;
const undoable = []; // acts of this window, the last one last

const acts = () => queue.items.map((item) => item.act);

function draw() {
  keepFocusOver(() => screen.draw());
  followScreen();
}

function go(place, criterion, photo) {
  model.go(place, criterion, photo);
  draw();
  screen.announce();
}

// Acting

function judge(said, form) {
  const { csrfmiddlewaretoken: _token, ...fields } = Object.fromEntries(new FormData(form));
  const { place, criterion } = model.here;
  const outcome = outcomeOf(said);
  const now = model.judgementsOf(place)[criterion];
  const kept = now?.outcome === outcome ? "" : now?.because || model.because;
  const because = isByEye(said) ? reasonFor(said, kept) : "";
  if (isByEye(said)) {
    if (!because) return;
    for (const name of ["value", "uncertainty", "tool", "by_marks"]) delete fields[name];
    fields.by_eye_because = because;
  }
  const isMarked = fields.mark_x && fields.mark_y && fields.photo;
  const isByMarks = fields.by_marks && !fields.value;
  const measured = isByMarks ? model.data.measured[place]?.[criterion] : null;
  const isToBeMeasured = model.mustMeasure(criterion) && outcome !== "not_applicable";
  if (isToBeMeasured && !fields.value && !isByMarks && !because) {
    // What is rejected wants its reason each time; accepting never goes by this key alone.
    if (outcome === "reject" && model.mayByEye(criterion)) judge(`reject${BY_EYE}`, form);
    else screen.sayUnmeasured();
    return;
  }
  const judged = {
    outcome,
    note: fields.note.trim(),
    photo: isMarked || fields.how === "photograph" ? fields.photo : "",
    mark: isMarked ? [Number(fields.mark_x), Number(fields.mark_y)] : null,
    value: fields.value || measured?.value || "",
    uncertainty: fields.uncertainty ?? "",
    tool: fields.tool ?? "",
    marks: measured?.id ?? null,
    because,
  };
  const words = fill(find("#announcement").dataset.judged, {
    place: screen.nameOf(place),
    criterion: model.data.criteria[criterion].title,
    outcome: part("verdict", outcome).dataset.name,
  });
  act(form.action, { ...fields, outcome: said }, "judge", [{ place, criterion, judged }], words);
}

// The grader could not tell: nothing is judged, and something is asked for.
function ask(outcome, form) {
  const { csrfmiddlewaretoken: _token, ...fields } = Object.fromEntries(new FormData(form));
  const { place, criterion } = model.here;
  const asked = { asks: outcome === "ask_board" ? "board" : "photo", note: fields.note.trim() };
  const words = find("#asked").dataset[asked.asks];
  act(
    form.action,
    { ...fields, outcome },
    "ask",
    [{ place, criterion, judged: null, asked }],
    words,
  );
}

function acceptRest(form, to, said = "") {
  const place = model.current;
  const { criterion: shown } = model.here;
  const because = isByEye(said) ? reasonFor(said, model.because, "rest-by-eye") : "";
  if (isByEye(said) && !because) return;
  const judgements = model.settledOf(place.name, shown);
  const { criteria } = model.data;
  const codes = acceptedWithRest(place, judgements, criteria, shown, Boolean(because));
  if (!codes.length) return;
  const fields = Object.fromEntries(new FormData(form));
  if (because) Object.assign(fields, { outcome: said, by_eye_because: because });
  for (const name of ["csrfmiddlewaretoken", "note", "value", "mark_x", "mark_y"]) {
    delete fields[name];
  }
  const judged = {
    outcome: "accept",
    note: "",
    photo: fields.how === "photograph" ? fields.photo : "",
    mark: null,
    value: "",
    uncertainty: "",
    tool: "",
    because: "",
  };
  const changes = codes.map((criterion) => ({
    place: place.name,
    criterion,
    judged: { ...judged, because: criterion === shown ? because : "" },
  }));
  const words = fill(find("#announcement").dataset.rest, {
    place: screen.nameOf(place.name),
    n: codes.length,
  });
  act(to, fields, "rest", changes, words);
}

function act(to, fields, kind, changes, words) {
  const all = model.judgements();
  const before = changes.map(({ place, criterion }) => ({
    place,
    criterion,
    judged: all[place]?.[criterion] ?? null,
    asked: model.askedOf(place)[criterion] ?? null,
  }));
  // By when it was judged, or by the key of the act, the site knows whether what it replaces was
  // on this page.
  const key = newKey();
  for (const { judged } of changes) if (judged) judged.at = key;
  const saw = kind === "rest" ? {} : { saw: before[0].judged?.at ?? "" };
  const done = { kind, stage: model.data.stage, changes, before };
  undoable.push(done);
  queue.add(to, { ...fields, ...saw }, done, key);
  const leadsToNextTrainee = model.goOn();
  draw();
  screen.announce(words);
  // What was judged here is sent behind it.
  const next = find("#go-open");
  if (leadsToNextTrainee && !next.hidden) next.click();
}

function undo(form) {
  const dropped = queue.dropLast();
  const known = undoable.pop();
  if (!dropped) {
    const stage = known?.stage ?? model.data.stage;
    const fields = { stage: model.data.stage, joint: model.here.place };
    const changes = known?.before ?? [];
    queue.add(form.action, fields, { kind: "undo", stage, changes, before: [] });
  }
  if (known) returnTo(known.stage, known.changes[0]);
}

function returnTo(stage, { place, criterion }) {
  if (stage !== model.data.stage) {
    location.assign(
      `${location.pathname}?${new URLSearchParams({ stage, joint: place, criterion })}`,
    );
    return;
  }
  model.here = { place, criterion, photo: model.photoFor(place) };
  draw();
  screen.announce(find("#announcement").dataset.undone);
}

const isSame = (one, other) => JSON.stringify(one) === JSON.stringify(other);

function heard(what, item, answer) {
  if (!model) return;
  if (what === "saved") {
    const isUndo = item.act.kind === "undo";
    const changes = isUndo ? answer.changed : item.act.changes;
    const stage = isUndo ? answer.stage : item.act.stage;
    model.save(changes, stage);
    if (isUndo && !item.act.changes.length && changes.length) {
      returnTo(stage, changes[0]);
      return;
    }
  }
  if (what === "refused") {
    const at = undoable.findIndex((done) => isSame(done, item.act));
    if (at >= 0) undoable.splice(at, 1);
  }
  if (!find("#judge")) return;
  keepFocusOver(() => screen.drawProgress());
  followScreen();
}

// Somebody wants to judge again what the site did not take.
function judgeAgain(item) {
  queue.dismiss(item.key);
  const [first] = item.act.changes;
  if (!first || item.act.stage !== model.data.stage || !model.place(first.place)) {
    screen.drawUnsaved();
    return;
  }
  const { place, criterion } = first;
  model.here = { place, criterion, photo: model.photoFor(place) };
  screen.draw();
  followScreen();
  const { elements } = find("#judge");
  for (const name of ["note", "value", "uncertainty", "tool", "magnification", "by_eye_because"]) {
    if (elements[name]) elements[name].value = item.fields[name] ?? "";
  }
  if (item.fields.value) find(".instrument").open = true;
  if (isByEye(item.fields.outcome ?? "")) find("#by-eye").open = true;
  find("#note").focus();
}

// Beginning, with the page and with each piece that the server drew

function begin() {
  const source = find("#grading-state");
  const data = source ? JSON.parse(source.textContent) : null;
  if (!data || data.closed || !data.criterion) {
    model = null;
    return;
  }
  const name = queueName(data);
  if (queue?.name !== name) {
    queue = new JudgementQueue(name, { heard });
    undoable.length = 0;
    for (const done of acts()) {
      if (done.kind === "undo") undoable.pop();
      else undoable.push(done);
    }
  }
  model = new GradingModel(data, acts, undoable);
  screen = new GradingScreen(model, queue, judgeAgain);
  if (queue.items.length || queue.refused.length || queue.overwrote.length) {
    if (!new URLSearchParams(location.search).has("joint")) model.goToOpen();
    draw();
  }
  queue.send();
  preload(model.photosAhead());
}

// Whatever leads to a place of this stage is answered here; everything else asks the server.
document.addEventListener(
  "click",
  (event) => {
    const link = event.target.closest?.("#screen a[href]");
    if (!model || !link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    const url = new URL(link.href);
    const { stage, joint, criterion, photo } = Object.fromEntries(url.searchParams);
    const place = joint && model.place(joint);
    if (url.pathname !== location.pathname || stage !== model.data.stage) return;
    if (!place?.codes.length) return;
    event.preventDefault();
    event.stopPropagation();
    go(joint, criterion, photo);
  },
  true,
);

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (!model || !form.closest("#screen")) return;
    const { submitter } = event;
    if (form.id === "judge") {
      if (submitter?.id === "do-rest") acceptRest(form, submitter.formAction);
      else if (submitter?.id === "rest-by-eye") {
        acceptRest(form, submitter.formAction, submitter.value);
      } else if (submitter?.value.startsWith("ask_")) ask(submitter.value, form);
      else if (submitter?.value) judge(submitter.value, form);
      else return;
    } else if (form.id === "undo") undo(form);
    else return;
    event.preventDefault();
    event.stopPropagation();
  },
  true,
);

document.addEventListener("click", setMark);

// Asking the server

// How one looks at the board goes with every request, so that moving on does not forget it.
document.body.addEventListener("htmx:configRequest", (event) => {
  for (const name of CIRCUMSTANCES) {
    const field = find("#judge")?.elements[name];
    if (field && !event.detail.parameters.has(name)) {
      event.detail.parameters.set(name, field.value);
    }
  }
});

document.body.addEventListener("htmx:beforeRequest", () => keys.hold());

// An answer that is another page (signed out meanwhile, or nothing left to judge) is shown as one.
document.body.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr } = event.detail;
  holdFocus();
  if (xhr.status < 500 && xhr.status !== 0 && !xhr.getResponseHeader("HX-Replace-Url")) {
    event.detail.shouldSwap = false;
    location.assign(xhr.responseURL.includes("/grade/") ? location.href : xhr.responseURL);
  }
});

document.body.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful) return;
  keys.forget();
  keys.release();
});

document.body.addEventListener("htmx:afterSettle", () => {
  find("#messages")?.replaceChildren();
  dress();
  restoreFocus();
  begin();
  followScreen();
  // A key judges what is to be seen: those pressed on the way to another board are forgotten.
  if (address !== location.pathname) keys.forget();
  address = location.pathname;
  keys.release();
});

dress();
begin();
listenToKeys(pressedBeside);
listenForReasons();
listenForComparison();
