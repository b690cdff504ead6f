// Photographs that are not sent yet, laid out by joint. They are ticked by a click, a range of them
// with the shift key held, or by the space bar, and what is ticked is moved.

import { find, findAll } from "../lib/page.js";
import { BOARD, OUT } from "./photo-plan.js";

const MOST_ACROSS = 4;

export class LightTable {
  // moved: (rows, key) => put them at a joint, the whole board or nowhere
  // shifted: (rows, by) => so many places earlier or later
  constructor(table, words, { moved, shifted }) {
    Object.assign(this, { table, words, moved, shifted, isShift: false, last: null });
    this.groups = find("[data-groups]", table);
    this.bar = find("[data-bar]", table);
    this.told = find("[data-ticked]", table);
    this.to = find("[data-to]", table);
    this.out = find("[data-leave-out]", table);
    this.names = new Map([...this.to.options].map((one) => [one.value, one.text.trim()]));
    this.order = [...this.names.keys()].filter((key) => key && key !== BOARD);
    this.listen();
  }

  listen() {
    for (const name of ["pointerdown", "keydown"]) {
      this.table.addEventListener(
        name,
        (event) => {
          this.isShift = event.shiftKey;
        },
        true,
      );
    }
    this.table.addEventListener("mousedown", (event) => {
      // A range of photographs is meant, and no text.
      if (event.shiftKey && event.target.closest(".shot")) event.preventDefault();
    });
    this.groups.addEventListener("change", (event) => this.ticked(event.target));
    this.groups.addEventListener("keydown", (event) => this.key(event));
    for (const button of findAll("[data-shift]", this.table)) {
      button.addEventListener("click", () => {
        this.shifted(this.meant(), Number(button.dataset.shift));
      });
    }
    this.out.addEventListener("click", () => {
      this.moved(this.meant(), this.areOut() ? null : OUT);
    });
    this.to.addEventListener("change", () => {
      if (this.to.value) this.moved(this.meant(), this.to.value);
    });
  }

  // What is ticked, and where nothing is, all of them.
  meant() {
    const ticked = this.shown.filter((row) => row.tick.checked);
    return ticked.length ? ticked : this.shown;
  }

  areOut() {
    return this.meant().every((row) => row.state === "out");
  }

  ticked(tick) {
    const rows = findAll(".shot", this.groups).map((line) =>
      this.shown.find((row) => row.line === line),
    );
    const at = rows.findIndex((row) => row?.tick === tick);
    const from = rows.indexOf(this.last);
    if (this.isShift && from >= 0) {
      const [first, end] = [Math.min(at, from), Math.max(at, from)];
      for (const row of rows.slice(first, end + 1)) {
        if (!row.tick.disabled) row.tick.checked = tick.checked;
      }
    }
    this.last = rows[at];
    this.tell();
  }

  key(event) {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    const here = this.shown.find((row) => row.tick === event.target);
    if (by && here && !event.altKey && !event.ctrlKey && !event.metaKey) {
      event.preventDefault();
      const ticked = this.shown.filter((row) => row.tick.checked);
      this.shifted(ticked.length ? ticked : [here], by);
    } else if (event.key === "Escape") {
      for (const row of this.shown) row.tick.checked = false;
      this.tell();
    }
  }

  // Rows with where each goes, in the order in which those of one joint stand there.
  draw(rows, { canMove }) {
    const focused = document.activeElement;
    this.shown = rows;
    this.table.hidden = rows.length === 0;
    const at = new Map();
    for (const row of rows) {
      const key = row.state === "out" ? OUT : row.joint;
      if (!at.has(key)) at.set(key, []);
      at.get(key).push(row);
    }
    const used = this.order.map((key) => at.has(key));
    const between = this.order.slice(used.indexOf(true), used.lastIndexOf(true) + 1);
    const keys = [...(used.includes(true) ? between : []), "", BOARD, OUT].filter(
      (key) => at.has(key) || this.order.includes(key),
    );
    const most = Math.max(1, ...[...at.values()].map((group) => group.length));
    this.groups.style.setProperty("--across", Math.min(most, MOST_ACROSS));
    this.groups.replaceChildren(...keys.map((key) => this.group(key, at.get(key) ?? [])));
    for (const row of rows) {
      row.tick.disabled = !canMove || !["ready", "out", "unasked"].includes(row.state);
      if (row.tick.disabled) row.tick.checked = false;
    }
    this.bar.hidden = !canMove;
    this.tell();
    if (this.groups.contains(focused)) focused.focus({ preventScroll: true });
  }

  group(key, rows) {
    const item = document.createElement("li");
    item.className = "joint-plan";
    const heading = document.createElement("h3");
    const names = { "": this.words.unasked, [OUT]: this.words.out };
    heading.textContent = names[key] ?? this.names.get(key);
    const list = document.createElement("ul");
    list.append(...rows.map((row) => row.line));
    item.append(heading, list);
    return item;
  }

  tell() {
    const ticked = this.shown.filter((row) => row.tick.checked);
    const meant = this.meant();
    this.told.textContent = ticked.length
      ? this.words.ticked.replace("%s", ticked.length)
      : this.words.noneTicked.replace("%s", meant.length);
    this.out.textContent = this.areOut() ? this.words.putBack : this.words.leaveOut;
    const places = new Set(meant.map((row) => (row.state === "out" ? OUT : row.joint)));
    const [place] = places;
    this.to.value = places.size === 1 && this.names.has(place) ? place : "";
  }
}
