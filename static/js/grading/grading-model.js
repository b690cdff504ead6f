// The board as it is in the browser: what the server said of it, what was judged since, and where
// the grader stands. It knows no page.

import { apply, applyAsked, firstOpen, nextOpen, OPEN, restOf, stateOf } from "./joint-state.js";

// The reason of the last that is accepted by eye among changes.
const reasonIn = (changes) =>
  changes.findLast(({ judged }) => judged?.because && judged.outcome === "accept")?.judged.because;

export class GradingModel {
  // data: what the server said of the board and the stage; acts: () => those not saved yet;
  // undoable: those that this window may take back, the last one last
  constructor(data, acts, undoable = []) {
    this.data = data;
    this.acts = acts;
    this.judged = data.judged;
    this.asked = data.asked ?? {};
    this.undoable = undoable;
    this.here = { place: data.place, criterion: data.criterion, photo: data.photo };
  }

  place(name) {
    return this.data.places.find((place) => place.name === name);
  }

  get current() {
    return this.place(this.here.place);
  }

  // Whether no key alone judges a criterion.
  mustMeasure(code) {
    return Boolean(this.data.criteria[code]?.must_measure);
  }

  mayByEye(code) {
    return Boolean(this.data.criteria[code]?.by_eye);
  }

  // Why somebody accepted by eye last on this board, offered for the next.
  get because() {
    return reasonIn(this.acts().flatMap((act) => act.changes)) ?? this.data.because;
  }

  // What is judged where, with all that still waits to be sent on top of what is saved.
  judgements() {
    const all = structuredClone(this.judged);
    for (const act of this.acts()) {
      if (act.stage === this.data.stage) apply(act.changes, all);
    }
    return all;
  }

  judgementsOf(name) {
    return this.judgements()[name] ?? {};
  }

  // What is asked for at a place where the grader could not tell, by criterion.
  askedOf(name) {
    const all = structuredClone(this.asked);
    for (const act of this.acts()) {
      if (act.stage === this.data.stage) applyAsked(act.changes, all);
    }
    return all[name] ?? {};
  }

  save(changes, stage) {
    if (stage !== this.data.stage) return;
    this.data.because = reasonIn(changes) ?? this.data.because;
    apply(changes, this.judged);
    applyAsked(changes, this.asked);
  }

  // What accepting the rest passes over: what is judged, and what could not be told.
  settledOf(name, shown = "") {
    const { [shown]: _shown, ...asked } = this.askedOf(name);
    return { ...asked, ...this.judgementsOf(name) };
  }

  states() {
    const all = this.judgements();
    const state = (place) => stateOf(place, all[place.name] ?? {}, this.data.criteria);
    return new Map(this.data.places.map((place) => [place.name, state(place)]));
  }

  unsavedOf(name) {
    const changes = this.acts()
      .filter((act) => act.stage === this.data.stage)
      .flatMap((act) => act.changes);
    return new Set(changes.filter((one) => one.place === name).map((one) => one.criterion));
  }

  restOf(place) {
    return restOf(place, this.settledOf(place.name), this.data.criteria);
  }

  openAfter(name, states = this.states()) {
    const { places } = this.data;
    const at = places.findIndex((place) => place.name === name);
    const others = [...places.slice(at + 1), ...places.slice(0, at)];
    return others.find((place) => states.get(place.name) === OPEN);
  }

  photoFor(name) {
    return name === this.here.place && this.here.photo ? this.here.photo : this.place(name).best;
  }

  go(name, criterion = "", photo = "") {
    const place = this.place(name);
    this.here = {
      place: name,
      criterion: place.codes.includes(criterion)
        ? criterion
        : firstOpen(place, this.judgementsOf(name)),
      photo: place.photos.includes(photo) ? photo : place.best,
    };
  }

  // Where the server would begin if it knew what still waits to be sent.
  goToOpen() {
    const states = this.states();
    const next = this.data.places.find((place) => states.get(place.name) === OPEN);
    if (next) this.go(next.name);
  }

  // From what was judged to what comes next: the next open criterion, then the next open place.
  // Where a class is graded position by position, a joint that is done leads to the next trainee:
  // true then.
  goOn() {
    const { current } = this;
    const states = this.states();
    const settled = this.settledOf(current.name);
    // What could not be told waits for something: the others come first.
    if (current.codes.some((code) => !settled[code])) {
      this.here.criterion = nextOpen(current, settled, this.here.criterion);
    } else if (!this.data.across) {
      const next = this.openAfter(current.name, states);
      if (next) this.go(next.name);
    }
    this.here.photo = this.photoFor(this.here.place);
    return Boolean(this.data.across) && states.get(current.name) !== OPEN;
  }

  // The photographs that come next: of the places that follow first, then of all the others.
  photosAhead() {
    const { places, photos, across, ahead } = this.data;
    const at = places.indexOf(this.current);
    const order = [...places.slice(at), ...places.slice(0, at)];
    const keys = order.flatMap((place) => [place.best, ...place.photos]).filter(Boolean);
    const sources = [...new Set(keys)].map((key) => photos[key].src);
    // Across a class the other joints of this board are not what comes next.
    return across ? [...sources.slice(0, 1), ...ahead] : sources;
  }
}
