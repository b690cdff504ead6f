// The grading screen drawn without the server, from its own pieces in #parts.

import { fetchPage, fill, find, findAll } from "../lib/page.js";
import { BY_EYE, drawByEye } from "./by-eye.js";
import { NOT_APPLICABLE, OPEN } from "./joint-state.js";
import { announce } from "./keyboard.js";
import { drawMark } from "./mark.js";
import { showMeasured } from "./measured-marks.js";
import { preload } from "./preload.js";

const SAY_UNSAVED_AFTER_MS = 600;

export const part = (name, value) =>
  find(`[data-${name}="${CSS.escape(value)}"]`, find("#parts").content)?.cloneNode(true);

export class GradingScreen {
  // queue: what is not saved yet; onRefusal: (item) => told that somebody wants to judge it again
  constructor(model, queue, onRefusal) {
    Object.assign(this, { model, queue, onRefusal });
    this.preferredHow = null;
    this.unsavedTimer = 0;
    const { place, photo } = model.here;
    find(".stage > figure").dataset.shows = `${place} ${photo}`;
  }

  get data() {
    return this.model.data;
  }

  get here() {
    return this.model.here;
  }

  address({ place: name, criterion, photo }) {
    const query = { stage: this.data.stage, joint: name };
    if (criterion) query.criterion = criterion;
    if (photo && photo !== this.model.place(name).best) query.photo = photo;
    if (this.data.across) query.across = this.data.across;
    return `${location.pathname}?${new URLSearchParams(query)}`;
  }

  draw() {
    const { current } = this.model;
    const judgements = this.model.judgementsOf(current.name);
    const judgement = judgements[this.here.criterion];
    this.drawCriterion(current, judgement);
    this.drawForm(current, judgement, judgements);
    this.drawPhoto(current, judgement);
    this.drawProgress();
    history.replaceState(history.state, "", this.address(this.here));
  }

  // After an answer only what tells of saving changes: what somebody is writing stays.
  drawProgress() {
    const states = this.model.states();
    this.drawMap(states);
    this.drawHead(states);
    this.drawCriteria();
    this.drawWays(states);
    this.drawUnsaved();
    dress();
    drawMark();
    showMeasured(this.data);
  }

  drawMap(states) {
    for (const place of this.data.places) {
      const link = document.getElementById(`place-${place.name}`);
      const drawn = part("state", states.get(place.name));
      markCurrent(link, place.name === this.here.place);
      find("svg", link).replaceWith(find("svg", drawn));
      const spare = place.spare ? `, ${find("#parts").dataset.spare}` : "";
      find(".visually-hidden", link).textContent = `, ${drawn.textContent.trim()}${spare}`;
    }
  }

  drawHead(states) {
    const joints = this.data.places.filter((place) => place.joint);
    const ofJoints = joints.map((place) => states.get(place.name));
    const done = ofJoints.filter((state) => state !== OPEN && state !== NOT_APPLICABLE).length;
    const open = ofJoints.filter((state) => state === OPEN).length;
    const count = find("#joints-judged");
    count.textContent = fill(count.dataset.words, { n: done, all: done + open });
    const left = [...states.values()].filter((state) => state === OPEN).length;
    const tab = part("tab", left ? OPEN : "done");
    const words = find("[data-words]", tab);
    if (words) words.textContent = fill(words.dataset.words, { n: left });
    const stage = document.getElementById(`stage-${this.data.stage}`);
    find("small", stage).replaceChildren(...tab.childNodes);
  }

  drawCriterion(place, judgement) {
    const { criterion } = this.here;
    const title = find("#h-crit");
    title.firstChild.textContent = `${this.data.criteria[criterion].title} `;
    const small = find("small", title);
    small.textContent = fill(place.joint ? small.dataset.joint : small.dataset.board, {
      place: place.name,
      n: place.codes.indexOf(criterion) + 1,
      all: place.codes.length,
    });
    const shown = find("#criterion-shown");
    if (shown.dataset.criterion !== criterion) {
      shown.dataset.criterion = criterion;
      shown.replaceChildren(...part("criterion", criterion).childNodes);
    }
    const own = this.data.maker[place.name]?.[criterion];
    const line = find("#maker-judgement");
    line.hidden = !own;
    if (own) {
      const verdict = part("verdict", own.outcome).firstElementChild;
      find("[data-verdict-here]", line).replaceChildren(verdict);
      find("[data-note]", line).textContent = own.note ? `“${own.note}”` : "";
    }
    this.drawAsked(place, judgement);
    const readout = find(".readout");
    if (readout) readout.hidden = readout.dataset.of !== `${place.name} ${criterion}`;
    if (judgement?.value && (!readout || readout.hidden)) this.fetchReadout();
  }

  drawAsked(place, judgement) {
    const line = find("#asked");
    if (!line) return;
    const asked = judgement ? null : this.model.askedOf(place.name)[this.here.criterion];
    line.hidden = !asked;
    find("[data-words]", line).textContent = asked ? line.dataset[asked.asks] : "";
    find("[data-note]", line).textContent = asked?.note ? `“${asked.note}”` : "";
  }

  drawCriteria() {
    const { current } = this.model;
    const judgements = this.model.judgementsOf(current.name);
    const unsaved = this.model.unsavedOf(current.name);
    const asked = this.model.askedOf(current.name);
    const rows = current.codes.map((code, index) => {
      const row = part("row", code);
      const link = find("a", row);
      const key = index < 10 ? String((index + 1) % 10) : "";
      link.id = `criterion-${code}`;
      link.href = this.address({ ...this.here, criterion: code });
      if (key) link.dataset.key = key;
      find("kbd", link).textContent = key || "·";
      markCurrent(link, code === this.here.criterion);
      const small = find("small", link);
      const { unit } = this.data.criteria[code];
      const judgement = judgements[code];
      if (judgement?.value) small.textContent = `${judgement.value}${unit}`;
      if (judgement?.note) small.append(`, ${find("#parts").dataset.note}`);
      const waits = judgement ? null : asked[code];
      if (waits) {
        const { askedPhoto, askedBoard } = find("#parts").dataset;
        small.append(`, ${waits.asks === "board" ? askedBoard : askedPhoto}`);
      }
      find(".to-save", link).hidden = !unsaved.has(code);
      link.append(part("verdict", judgement?.outcome ?? OPEN).firstElementChild);
      return row;
    });
    find(".judge > .criteria").replaceChildren(...rows);
  }

  drawForm(place, judgement, judgements) {
    const form = find("#judge");
    const fields = form.elements;
    const { criterion, photo } = this.here;
    fields.joint.value = place.name;
    fields.criterion.value = criterion;
    fields.photo.value = photo;
    const mark = judgement?.mark && judgement.photo === photo ? judgement.mark : ["", ""];
    [fields.mark_x.value, fields.mark_y.value] = mark;
    fields.note.value = judgement?.note ?? "";
    const saved = judgement?.outcome ?? "";
    find("#do-save").value = judgement?.because ? `${saved}${BY_EYE}` : saved;
    for (const button of findAll("[data-outcome]", form)) {
      const isChosen = judgement?.outcome === button.dataset.outcome;
      button.classList.toggle("is-chosen", isChosen);
      button.setAttribute("aria-pressed", String(isChosen));
    }
    this.drawRest(place, judgements);
    this.drawHow(form);
    this.drawInstrument(form, judgement);
    const { must_measure: mustMeasure, by_eye: mayByEye } = this.data.criteria[criterion];
    drawByEye(mustMeasure && mayByEye, judgement?.because || this.model.because);
  }

  // A key alone judges nothing that is measured: what to do instead.
  sayUnmeasured() {
    const { title, by_eye: mayByEye } = this.data.criteria[this.here.criterion];
    const line = find("#unmeasured");
    line.textContent = fill(mayByEye ? line.dataset.words : line.dataset.never, {
      criterion: title,
    });
    line.hidden = false;
  }

  drawRest(place, judgements) {
    const { criterion } = this.here;
    const others = this.model.restOf(place).filter((code) => code !== criterion).length;
    const button = find("#do-rest");
    button.hidden = !others;
    const words = find("span", button);
    const isTaken = !judgements[criterion] && !this.model.mustMeasure(criterion);
    const template = isTaken ? words.dataset.this : words.dataset.rest;
    words.textContent = fill(template, { n: others });
  }

  drawHow(form) {
    const { photo } = this.here;
    const byPhotograph = find("#how-photograph");
    if (!byPhotograph.disabled) {
      this.preferredHow = byPhotograph.checked ? "photograph" : "at_board";
    }
    byPhotograph.disabled = !photo;
    const how = photo ? (this.preferredHow ?? "photograph") : "at_board";
    find(`input[name=how][value=${how}]`, form).checked = true;
  }

  drawInstrument(form, judgement) {
    const instrument = find(".instrument", form);
    if (!instrument) return;
    const { measured, sign, unit_word: word } = this.data.criteria[this.here.criterion];
    const { value, uncertainty, tool } = form.elements;
    instrument.hidden = !measured;
    const read = judgement?.marks ? null : judgement;
    instrument.open = Boolean(read?.value);
    value.value = read?.value ?? "";
    uncertainty.value = read?.uncertainty ?? "";
    tool.value = judgement?.tool ?? "";
    const unit = find("[data-unit]", instrument);
    unit.textContent = sign;
    unit.title = word;
  }

  drawPhoto(place, judgement) {
    const photo = this.data.photos[this.here.photo];
    const figure = find(".stage > figure");
    const shows = `${place.name} ${this.here.photo}`;
    if (figure.dataset.shows !== shows) {
      const drawn = part("figure", photo ? "photo" : place.joint ? "no-joint" : "no-board");
      const fresh = drawn.matches("figure") ? drawn : find("figure", drawn);
      fresh.dataset.shows = shows;
      if (photo) this.dressPhoto(fresh, photo, place);
      figure.replaceWith(fresh);
      if (photo) preload(this.model.photosAhead());
    }
    find(".mark-kept")?.remove();
    const caption = find(".stage [data-marked]");
    if (caption) caption.hidden = !(judgement?.mark && judgement.photo === this.here.photo);
  }

  dressPhoto(figure, photo, place) {
    const words = find("[data-caption]", figure);
    words.textContent = [
      place.name,
      place.joint && !photo.joint && words.dataset.whole,
      photo.stage,
      photo.magnification && `${photo.magnification}×`,
      photo.incomplete,
    ]
      .filter(Boolean)
      .join(", ");
    const count = find("[data-count]", figure);
    const at = place.photos.indexOf(this.here.photo);
    const all = place.photos.length;
    count.textContent = fill(count.dataset.words, { n: at + 1, all });
    const ways = find("[data-ways]", figure);
    ways.hidden = all < 2;
    const [before, next] = findAll("a", ways);
    before.href = this.address({ ...this.here, photo: place.photos[(at + all - 1) % all] });
    next.href = this.address({ ...this.here, photo: place.photos[(at + 1) % all] });
    const picture = find("img", figure);
    picture.id = `photograph-${this.here.photo}`;
    picture.width = photo.wide;
    picture.height = photo.high;
    picture.alt = fill(picture.dataset.words, { name: photo.name });
    picture.src = photo.src;
  }

  drawWays(states) {
    const { places, across, undo, missing } = this.data;
    const at = places.indexOf(this.model.current);
    const lead = (id, place) => {
      const link = document.getElementById(id);
      link.hidden = !place;
      if (place) link.href = this.address({ place: place.name, criterion: "", photo: "" });
    };
    if (!across) {
      lead("go-before", places[at - 1]);
      lead("go-after", places[at + 1]);
      lead("go-open", this.model.openAfter(this.here.place, states));
    }
    find("#do-undo").hidden = !(undo || this.model.undoable.length);
    const isComplete = !missing && [...states.values()].every((state) => state !== OPEN);
    const sign = find("#go-sign");
    if (sign) sign.hidden = !isComplete || this.queue.items.length > 0;
  }

  // What is not saved yet, said once it takes longer than an answer usually does.
  drawUnsaved() {
    const line = find("#unsaved");
    clearTimeout(this.unsavedTimer);
    if (!this.queue.items.length) {
      // Whoever was told that something was not saved hears that it is.
      if (!line.hidden) announce(find("#announcement").dataset.saved);
      line.hidden = true;
      find("#screen").classList.remove("is-behind");
    } else if (this.queue.state !== "idle" || !line.hidden) {
      this.sayUnsaved();
    } else {
      this.unsavedTimer = setTimeout(() => this.sayUnsaved(), SAY_UNSAVED_AFTER_MS);
    }
    find("#refused").replaceChildren(
      ...this.queue.refused.map((item) => this.drawRefusal(item)),
      ...this.queue.overwrote.map((told) => this.drawOverwrote(told)),
    );
  }

  sayUnsaved() {
    const line = find("#unsaved");
    const words = find("b", line);
    const small = find("small", line);
    words.textContent = fill(words.dataset.words, { n: this.queue.items.length });
    small.textContent = small.dataset[this.queue.state] ?? small.dataset.idle;
    line.hidden = false;
    find("#screen").classList.add("is-behind");
  }

  drawRefusal(item) {
    const notice = part("refusal", "act");
    const words = find("[data-words]", notice);
    const [first] = item.act.changes;
    words.textContent = fill(first ? words.dataset.words : "{says}", {
      place: first?.place,
      criterion: this.data.criteria[first?.criterion]?.title ?? first?.criterion,
      says: item.says || words.dataset.unknown,
    });
    find("button", notice).addEventListener("click", () => this.onRefusal(item));
    return notice;
  }

  drawOverwrote({ key, says }) {
    const notice = part("refusal", "overwrote");
    find("[data-words]", notice).textContent = says;
    find("button", notice).addEventListener("click", () => {
      this.queue.dismissOverwrote(key);
      this.drawUnsaved();
    });
    return notice;
  }

  // The reading on its limit line is the server's drawing, and comes when it can be asked.
  async fetchReadout() {
    if (this.queue.items.length) return;
    const { place, criterion } = this.here;
    try {
      const page = await fetchPage(this.address(this.here), { part: true });
      const readout = page && find(".readout", page);
      const isStill = this.here.place === place && this.here.criterion === criterion;
      if (readout?.dataset.of !== `${place} ${criterion}` || !isStill) return;
      if (this.queue.items.length) return;
      find(".readout")?.remove();
      find(".stage").append(readout);
    } catch {
      // It is in the list beside its criterion all the same.
    }
  }

  announce(act = "") {
    const line = find("#announcement");
    const { place, criterion } = this.here;
    const outcome = this.model.judgementsOf(place)[criterion]?.outcome ?? OPEN;
    const where = fill(line.dataset.now, {
      place: this.nameOf(place),
      criterion: this.data.criteria[criterion].title,
      state: part("verdict", outcome).dataset.name,
    });
    announce(`${act} ${where}`);
  }

  nameOf(name) {
    return this.model.place(name).joint ? name : find("#announcement").dataset.board;
  }
}

function markCurrent(link, isCurrent) {
  if (isCurrent) link.setAttribute("aria-current", "true");
  else link.removeAttribute("aria-current");
}

// What the server cannot draw without a script: buttons that need one, the list scrolled to its line.
export function dress() {
  for (const button of findAll("[data-opens]")) {
    button.hidden = false;
    button.onclick = () => {
      const dialog = find(`#${button.dataset.opens}`);
      dialog.showModal();
      dialog.scrollTop = 0; // From its top, whatever was focused or scrolled to before.
    };
  }
  const list = find(".judge > .criteria");
  const current = list && find("[aria-current]", list);
  if (current && list.scrollHeight > list.clientHeight) {
    const line = current.closest("li");
    list.scrollTop = (line.previousElementSibling ?? line).offsetTop - list.offsetTop;
  }
}
