// The board as it is in the browser: a key is answered here at once, whatever the network does,
// and the site is told behind it. What is drawn are the server's own pieces, from #parts.
// Without this script every link and button asks the server.

const $ = (selector, from = document) => from.querySelector(selector);
const OPEN = "open";
const SAY_UNSAVED_AFTER_MS = 600;

let told = null; // what the server said of this board and stage
let judged = {}; // what it has saved: by place, by criterion
let here = { place: "", criterion: "", photo: "" };
let queue = null;
let preferred = null;
let saidLate = null;
let leaving = false;
let undoable = []; // acts of this window, the last one last

const fill = (words, values) => words.replace(/\{(\w+)\}/g, (_all, name) => values[name]);
const place = (name) => told.places.find((one) => one.name === name);
const part = (name, value) => {
  const found = $("#parts").content.querySelector(`[data-${name}="${CSS.escape(value)}"]`);
  return found?.cloneNode(true);
};

// What stands where, with all that still waits to be sent on top of what is saved.
function standing() {
  const now = structuredClone(judged);
  for (const { act } of queue.items) {
    if (act.stage === told.stage) lay(act.changes, now);
  }
  return now;
}

function lay(changes, on) {
  for (const { place: name, criterion, judged: said } of changes) {
    on[name] ??= {};
    if (said) on[name][criterion] = said;
    else delete on[name][criterion];
  }
}

function stateOf(one, now) {
  const said = now[one.name] ?? {};
  const known = one.codes.filter((code) => said[code]);
  if (one.spare && !known.length) return "not_applicable";
  if (known.length < one.codes.length) return OPEN;
  const rejected = known.filter((code) => said[code].outcome === "reject");
  if (rejected.some((code) => !told.criteria[code].minor)) return "rejected";
  return rejected.length ? "accepted_with_remarks" : "accepted";
}

function openAfter(name, now) {
  const at = told.places.findIndex((one) => one.name === name);
  const others = [...told.places.slice(at + 1), ...told.places.slice(0, at)];
  return others.find((one) => stateOf(one, now) === OPEN);
}

const firstOpen = (one, now) => one.codes.find((code) => !now[one.name]?.[code]) ?? one.codes[0];

// From what was judged to what comes next: the next open criterion, then the next open place.
function forward() {
  const now = standing();
  const one = place(here.place);
  if (told.across && stateOf(one, now) !== OPEN) {
    // The same joint of the next trainee: what was judged here is sent behind it.
    leaving = true;
    return;
  }
  if (stateOf(one, now) !== OPEN) {
    const next = openAfter(one.name, now);
    if (next) here = { place: next.name, criterion: firstOpen(next, now), photo: "" };
    return;
  }
  const at = one.codes.indexOf(here.criterion);
  const order = [...one.codes.slice(at + 1), ...one.codes.slice(0, at + 1)];
  here.criterion = order.find((code) => !now[one.name]?.[code]) ?? here.criterion;
}

// Drawing

function draw() {
  const now = standing();
  const one = place(here.place);
  const at = one.codes.indexOf(here.criterion);
  const said = now[one.name]?.[here.criterion];
  const states = new Map(told.places.map((each) => [each.name, stateOf(each, now)]));
  drawMap(states);
  drawHead(states);
  drawCriterion(one, at, said);
  drawList(one, now[one.name] ?? {});
  drawForm(one, said, now[one.name] ?? {});
  drawPhoto(one, said);
  drawWays(one, now, states);
  drawUnsaved();
  document.dispatchEvent(new CustomEvent("desk:drawn"));
  history.replaceState(history.state, "", address(here));
}

function address({ place: name, criterion, photo }) {
  const asked = { stage: told.stage, joint: name };
  if (criterion) asked.criterion = criterion;
  if (photo && photo !== place(name).best) asked.photo = photo;
  if (told.across) asked.across = told.across;
  return `${location.pathname}?${new URLSearchParams(asked)}`;
}

function drawMap(states) {
  for (const one of told.places) {
    const link = document.getElementById(`place-${one.name}`);
    const drawn = part("state", states.get(one.name));
    if (one.name === here.place) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
    link.querySelector("svg").replaceWith(drawn.querySelector("svg"));
    const spare = one.spare ? `, ${$("#parts").dataset.spare}` : "";
    link.querySelector(".visually-hidden").textContent = `, ${drawn.textContent.trim()}${spare}`;
  }
}

function drawHead(states) {
  const joints = told.places.filter((one) => one.joint).map((one) => states.get(one.name));
  const done = joints.filter((state) => state !== OPEN && state !== "not_applicable").length;
  const open = joints.filter((state) => state === OPEN).length;
  const count = $("#joints-judged");
  count.textContent = fill(count.dataset.words, { n: done, all: done + open });
  const left = [...states.values()].filter((state) => state === OPEN).length;
  const tab = part("tab", left ? OPEN : "done");
  const words = $("[data-words]", tab);
  if (words) words.textContent = fill(words.dataset.words, { n: left });
  document.getElementById(`stage-${told.stage}`).querySelector("small").replaceChildren(
    ...tab.childNodes,
  );
}

function drawCriterion(one, at, said) {
  const title = $("#h-crit");
  title.firstChild.textContent = `${told.criteria[here.criterion].title} `;
  const small = $("small", title);
  small.textContent = fill(one.joint ? small.dataset.joint : small.dataset.board, {
    place: one.name,
    n: at + 1,
    all: one.codes.length,
  });
  const shown = $("#criterion-shown");
  if (shown.dataset.criterion !== here.criterion) {
    shown.dataset.criterion = here.criterion;
    shown.replaceChildren(...part("criterion", here.criterion).childNodes);
  }
  const maker = told.maker[one.name]?.[here.criterion];
  const line = $("#maker-said");
  line.hidden = !maker;
  if (maker) {
    $("[data-verdict-here]", line).replaceChildren(part("verdict", maker.outcome).firstElementChild);
    $("[data-note]", line).textContent = maker.note ? `“${maker.note}”` : "";
  }
  const readout = $(".readout");
  if (readout) readout.hidden = readout.dataset.of !== `${one.name} ${here.criterion}`;
  if (said?.value && (!readout || readout.hidden)) fetchReadout();
}

function drawList(one, said) {
  const unsent = new Set();
  for (const { act } of queue.items) {
    for (const change of act.changes) {
      if (act.stage === told.stage && change.place === one.name) unsent.add(change.criterion);
    }
  }
  const rows = one.codes.map((code, index) => {
    const row = part("row", code);
    const link = $("a", row);
    const key = index < 10 ? String((index + 1) % 10) : "";
    link.id = `criterion-${code}`;
    link.href = address({ ...here, criterion: code });
    if (key) link.dataset.key = key;
    $("kbd", link).textContent = key || "·";
    if (code === here.criterion) link.setAttribute("aria-current", "true");
    const small = $("small", link);
    const { unit } = told.criteria[code];
    if (said[code]?.value) small.textContent = `${said[code].value}${unit}`;
    if (said[code]?.note) small.append(`, ${$("#parts").dataset.note}`);
    $(".to-save", link).hidden = !unsent.has(code);
    link.append(part("verdict", said[code]?.outcome ?? OPEN).firstElementChild);
    return row;
  });
  $(".judge > .criteria").replaceChildren(...rows);
}

function drawForm(one, said, all) {
  const form = $("#judge");
  const fields = form.elements;
  fields.joint.value = one.name;
  fields.criterion.value = here.criterion;
  fields.photo.value = here.photo;
  const marked = said?.mark && said.photo === here.photo ? said.mark : ["", ""];
  [fields.mark_x.value, fields.mark_y.value] = marked;
  fields.note.value = said?.note ?? "";
  $("#do-save").value = said?.outcome ?? "";
  for (const outcome of ["accept", "reject", "not_applicable"]) {
    const button = $(`[data-outcome="${outcome}"]`, form);
    button.classList.toggle("is-chosen", said?.outcome === outcome);
  }
  const others = restOf(one, all).filter((code) => code !== here.criterion).length;
  const rest = $("#do-rest");
  rest.hidden = !others;
  const words = $("span", rest);
  words.textContent = fill(said ? words.dataset.rest : words.dataset.this, { n: others });
  const photo = $("#how-photograph");
  if (!photo.disabled) preferred = photo.checked ? "photograph" : "at_board";
  photo.disabled = !here.photo;
  const how = here.photo ? (preferred ?? "photograph") : "at_board";
  $(`input[name=how][value=${how}]`, form).checked = true;
  const { measured, sign, unit_word: word } = told.criteria[here.criterion];
  const instrument = $(".instrument", form);
  if (!instrument) return;
  instrument.hidden = !measured;
  const read = said?.marks ? null : said;
  instrument.open = Boolean(read?.value);
  fields.value.value = read?.value ?? "";
  fields.uncertainty.value = read?.uncertainty ?? "";
  fields.tool.value = said?.tool ?? "";
  const unit = $("[data-unit]", instrument);
  unit.textContent = sign;
  unit.title = word;
}

const restOf = (one, said) =>
  one.joint ? one.codes.filter((code) => !said[code] && told.criteria[code].rest) : [];

function drawPhoto(one, said) {
  const photo = told.photos[here.photo];
  const figure = $(".stage > figure");
  const now = `${one.name} ${here.photo}`;
  if (figure.dataset.shows !== now) {
    const drawn = part("figure", photo ? "photo" : one.joint ? "no-joint" : "no-board");
    const fresh = drawn.matches("figure") ? drawn : $("figure", drawn);
    fresh.dataset.shows = now;
    if (photo) dressPhoto(fresh, photo, one);
    figure.replaceWith(fresh);
    if (photo) preload(one);
  }
  $(".mark-kept")?.remove();
  const caption = $(".stage [data-marked]");
  if (caption) caption.hidden = !(said?.mark && said.photo === here.photo);
}

function dressPhoto(figure, photo, one) {
  const words = $("[data-caption]", figure);
  const magnified = photo.magnification && `${photo.magnification}×`;
  words.textContent = [
    one.name,
    one.joint && !photo.joint && words.dataset.whole,
    photo.stage,
    magnified,
  ].filter(Boolean).join(", ");
  const count = $("[data-count]", figure);
  const at = one.photos.indexOf(here.photo);
  const all = one.photos.length;
  count.textContent = fill(count.dataset.words, { n: at + 1, all });
  const ways = $("[data-ways]", figure);
  ways.hidden = all < 2;
  const [before, next] = ways.querySelectorAll("a");
  before.href = address({ ...here, photo: one.photos[(at + all - 1) % all] });
  next.href = address({ ...here, photo: one.photos[(at + 1) % all] });
  const picture = $("img", figure);
  picture.id = `photograph-${here.photo}`;
  picture.width = photo.wide;
  picture.height = photo.high;
  picture.alt = fill(picture.dataset.words, { name: photo.name });
  picture.src = photo.src;
}

function drawWays(one, now, states) {
  const at = told.places.indexOf(one);
  const toward = (id, next) => {
    const link = document.getElementById(id);
    link.hidden = !next;
    if (next) link.href = address({ place: next.name, criterion: "", photo: "" });
  };
  if (!told.across) {
    toward("go-before", told.places[at - 1]);
    toward("go-after", told.places[at + 1]);
    toward("go-open", openAfter(one.name, now));
  }
  $("#do-undo").hidden = !(told.undo || undoable.length);
  const complete = !told.missing && [...states.values()].every((state) => state !== OPEN);
  const sign = $("#go-sign");
  if (sign) sign.hidden = !complete || queue.items.length > 0;
}

// What is not saved yet, said once it takes longer than an answer usually does.
function drawUnsaved() {
  const line = $("#unsaved");
  const { length } = queue.items;
  clearTimeout(saidLate);
  if (!length) {
    line.hidden = true;
    $("#screen").classList.remove("is-behind");
  } else if (queue.state !== "idle" || !line.hidden) {
    sayUnsaved();
  } else {
    saidLate = setTimeout(sayUnsaved, SAY_UNSAVED_AFTER_MS);
  }
  const list = $("#refused");
  list.replaceChildren(...queue.refused.map(drawRefusal));
}

function sayUnsaved() {
  const line = $("#unsaved");
  const words = $("b", line);
  const small = $("small", line);
  words.textContent = fill(words.dataset.words, { n: queue.items.length });
  small.textContent = small.dataset[queue.state] ?? small.dataset.idle;
  line.hidden = false;
  $("#screen").classList.add("is-behind");
}

function drawRefusal(item) {
  const notice = part("refusal", "act");
  const words = $("[data-words]", notice);
  const [first] = item.act.changes;
  words.textContent = fill(first ? words.dataset.words : "{says}", {
    place: first?.place,
    criterion: told.criteria[first?.criterion]?.title ?? first?.criterion,
    says: item.says || words.dataset.unknown,
  });
  $("button", notice).addEventListener("click", () => {
    queue.dismiss(item.key);
    if (first && item.act.stage === told.stage && place(first.place)) {
      here = { place: first.place, criterion: first.criterion, photo: photoFor(first.place) };
      draw();
      const { elements } = $("#judge");
      for (const name of ["note", "value", "uncertainty", "tool", "magnification"]) {
        if (elements[name]) elements[name].value = item.fields[name] ?? "";
      }
      if (item.fields.value) $(".instrument").open = true;
      $("#note").focus();
    } else drawUnsaved();
  });
  return notice;
}

// The reading on its limit line is the server's drawing, and comes when the server can be asked.
async function fetchReadout() {
  if (queue.items.length) return;
  const wanted = `${here.place} ${here.criterion}`;
  try {
    const answer = await fetch(address(here), { headers: { "HX-Request": "true" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = $(".readout", page);
    if (!fresh || fresh.dataset.of !== `${here.place} ${here.criterion}`) return;
    if (wanted !== fresh.dataset.of || queue.items.length) return;
    $(".readout")?.remove();
    $(".stage").append(fresh);
  } catch {
    // It is in the list beside its criterion all the same.
  }
}

// The photographs that come next are loaded before they are asked for: those of the places that
// follow first, then, one by one, all the others.
const loaded = new Set();
let loading = null;

function preload(one) {
  const at = told.places.indexOf(one);
  const order = [...told.places.slice(at), ...told.places.slice(0, at)];
  const wanted = order.flatMap((each) => [each.best, ...each.photos]).filter(Boolean);
  const here = [...new Set(wanted)].map((key) => told.photos[key].src);
  // Across a class the other joints of this board are not what comes next.
  loading = (told.across ? [...here.slice(0, 1), ...told.ahead] : here).filter((src) => !loaded.has(src));
  loadNext();
}

function loadNext() {
  if (loadNext.busy || !loading?.length || navigator.connection?.saveData) return;
  const src = loading.shift();
  const picture = new Image();
  loadNext.busy = true;
  picture.onload = picture.onerror = () => {
    loadNext.busy = false;
    if (picture.complete && picture.naturalWidth) loaded.add(src);
    loadNext();
  };
  picture.src = src;
}

// Acting

const photoFor = (name) => (name === here.place && here.photo ? here.photo : place(name).best);

function go(name, criterion = "", photo = "") {
  const one = place(name);
  const now = standing();
  here = {
    place: name,
    criterion: one.codes.includes(criterion) ? criterion : firstOpen(one, now),
    photo: one.photos.includes(photo) ? photo : one.best,
  };
  keepingFocus(draw);
  say();
}

const titleOf = (code) => told.criteria[code].title;

function say(act = "") {
  const line = $("#said");
  const state = standing()[here.place]?.[here.criterion]?.outcome ?? OPEN;
  const where = fill(line.dataset.now, {
    place: placeName(here.place),
    criterion: titleOf(here.criterion),
    state: part("verdict", state).dataset.name,
  });
  line.textContent = `${act} ${where}`.trim();
}

const placeName = (name) => (place(name).joint ? name : $("#said").dataset.board);

function judge(outcome, form) {
  const fields = Object.fromEntries(new FormData(form));
  delete fields.csrfmiddlewaretoken;
  const { place: name, criterion } = here;
  const marked = fields.mark_x && fields.mark_y && fields.photo;
  const measured = fields.by_marks && !fields.value ? told.measured[name]?.[criterion] : null;
  const said = {
    outcome,
    note: fields.note.trim(),
    photo: marked || fields.how === "photograph" ? fields.photo : "",
    mark: marked ? [Number(fields.mark_x), Number(fields.mark_y)] : null,
    value: fields.value || measured?.value || "",
    uncertainty: fields.uncertainty ?? "",
    tool: fields.tool ?? "",
    marks: measured?.id ?? null,
  };
  const changes = [{ place: name, criterion, judged: said }];
  done(form.action, { ...fields, outcome }, "judge", changes);
  keepingFocus(draw);
  const words = $("#said").dataset.judged;
  const names = { place: placeName(name), criterion: titleOf(criterion) };
  say(fill(words, { ...names, outcome: part("verdict", outcome).dataset.name }));
  if (leaving) leave();
}

function acceptRest(form, to) {
  const one = place(here.place);
  const said = standing()[one.name] ?? {};
  const codes = restOf(one, said);
  if (!said[here.criterion] && !codes.includes(here.criterion)) codes.push(here.criterion);
  if (!codes.length) return;
  const fields = Object.fromEntries(new FormData(form));
  for (const name of ["csrfmiddlewaretoken", "note", "value", "mark_x", "mark_y"]) delete fields[name];
  const photo = fields.how === "photograph" ? fields.photo : "";
  const accepted = { outcome: "accept", note: "", photo, mark: null, value: "", uncertainty: "", tool: "" };
  const changes = codes.map((code) => ({ place: one.name, criterion: code, judged: accepted }));
  done(to, fields, "rest", changes);
  keepingFocus(draw);
  say(fill($("#said").dataset.rest, { place: placeName(one.name), n: codes.length }));
  if (leaving) leave();
}

function done(to, fields, kind, changes) {
  const now = standing();
  const before = changes.map(({ place: name, criterion }) => ({
    place: name,
    criterion,
    judged: now[name]?.[criterion] ?? null,
  }));
  const act = { kind, stage: told.stage, changes, before };
  undoable.push(act);
  queue.add(to, fields, act);
  forward();
  here.photo = photoFor(here.place);
}

function leave() {
  leaving = false;
  const next = $("#go-open");
  if (!next.hidden) next.click();
}

function undo(form) {
  const dropped = queue.dropLast();
  const known = undoable.pop();
  if (!dropped) {
    const changes = known?.before ?? [];
    const fields = { stage: told.stage, joint: here.place };
    queue.add(form.action, fields, { kind: "undo", stage: known?.stage ?? told.stage, changes, before: [] });
  }
  if (known) returnTo(known.stage, known.changes[0]);
}

function returnTo(stage, { place: name, criterion }) {
  if (stage !== told.stage) {
    location.assign(`${location.pathname}?${new URLSearchParams({ stage, joint: name, criterion })}`);
    return;
  }
  here = { place: name, criterion, photo: photoFor(name) };
  keepingFocus(draw);
  say($("#said").dataset.undone);
}

const sameAct = (one, other) => JSON.stringify(one) === JSON.stringify(other);

function heard(what, item, answer) {
  if (what === "saved") {
    const { act } = item;
    const changes = act.kind === "undo" ? answer.changed : act.changes;
    const stage = act.kind === "undo" ? answer.stage : act.stage;
    if (stage === told.stage) lay(changes, judged);
    if (act.kind === "undo" && !act.changes.length && changes.length) {
      returnTo(stage, changes[0]);
      return;
    }
  }
  if (what === "refused") undoable = undoable.filter((act) => !sameAct(act, item.act));
  if ($("#judge")) keepingFocus(() => drawAround());
}

// After an answer only what tells of saving changes: what somebody is writing stays.
function drawAround() {
  const now = standing();
  const one = place(here.place);
  const states = new Map(told.places.map((each) => [each.name, stateOf(each, now)]));
  drawMap(states);
  drawHead(states);
  drawList(one, now[one.name] ?? {});
  drawWays(one, now, states);
  drawUnsaved();
  document.dispatchEvent(new CustomEvent("desk:drawn"));
}

// Who uses the keyboard keeps the focus where it was, or finds it at the heading if what had it
// is gone; a button pressed with the mouse lets go, or Space would press it.
function keepingFocus(act) {
  const active = document.activeElement;
  const inside = active?.closest?.("#screen");
  const held = inside && active.matches(":focus-visible");
  const { id } = active ?? {};
  act();
  if (inside && !held && active.matches("a, button")) active.blur();
  if (!held) return;
  const again = document.getElementById(id);
  const there = again && !again.hidden ? again : $("#h-crit");
  if (document.activeElement !== there) there.focus({ preventScroll: true });
}

// Where the server would begin if it knew what still waits to be sent.
function goToOpen() {
  const now = standing();
  const next = told.places.find((one) => stateOf(one, now) === OPEN);
  if (!next) return;
  here = { place: next.name, criterion: firstOpen(next, now), photo: next.best };
}

// Listening

function begin() {
  const data = $("#told");
  told = data ? JSON.parse(data.textContent) : null;
  if (!told || told.closed || !told.criterion) {
    told = null;
    return;
  }
  judged = told.judged;
  here = { place: told.place, criterion: told.criterion, photo: told.photo };
  $(".stage > figure").dataset.shows = `${here.place} ${here.photo}`;
  const name = `grading:${told.reader}:${told.board}:${told.own ? "own" : "grade"}`;
  if (queue?.name !== name) {
    const token = () => JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];
    queue = new window.GradeQueue(name, { token, told: heard });
    undoable = [];
    for (const { act } of queue.items) {
      if (act.kind === "undo") undoable.pop();
      else undoable.push(act);
    }
  }
  if (queue.items.length || queue.refused.length) {
    if (!new URLSearchParams(location.search).has("joint")) goToOpen();
    draw();
  }
  queue.send();
  preload(place(here.place));
}

// Whatever leads to a place of this stage is answered here; everything else asks the server.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("#screen a[href]");
  if (!told || !link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  const url = new URL(link.href);
  const asked = Object.fromEntries(url.searchParams);
  const one = asked.joint && place(asked.joint);
  if (url.pathname !== location.pathname || asked.stage !== told.stage || !one?.codes.length) return;
  event.preventDefault();
  event.stopPropagation();
  go(asked.joint, asked.criterion, asked.photo);
}, true);

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!told || !form.closest("#screen")) return;
  const { submitter } = event;
  if (form.id === "judge") {
    if (submitter?.id === "do-rest") acceptRest(form, submitter.formAction);
    else if (submitter?.value) judge(submitter.value, form);
    else return;
  } else if (form.id === "undo") undo(form);
  else return;
  event.preventDefault();
  event.stopPropagation();
}, true);

document.body.addEventListener("htmx:afterSettle", begin);
begin();
