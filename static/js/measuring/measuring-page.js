// Marks on a photograph: set, dragged, moved by keys, with the value they give as they move. What
// is sent is what stands in the form's fields, so that the page works by writing numbers too.

import { find, svgElement } from "../lib/page.js";
import { isProven, MARKS, MarksRefused, measure, verdict } from "./geometry.js";
import { linesOf } from "./lines.js";

const data = JSON.parse(find("#measuring").textContent);
const form = find("#measure");
const photograph = find("#photograph");
const WRITES = "input:not([type=radio]):not([type=checkbox]):not([type=range]), textarea, select";
const CLICK = 5; // pixels of the screen that a click may wander
const UNITS = { deg: "°", percent: "\u00a0%", ratio: "", "mm/px": "\u00a0mm/px" };
const SHAPES = { within: "within", outside: "outside", too_close_to_call: "close" };
const PROPOSED = "proposed";
const ACCEPTED = "accepted";
const marks = {}; // by kind, points; one that was found in the photograph says so until it is moved
const shown = {}; // of each mark: how wide the photograph was when it was set
const view = { x: data.width / 2, y: data.height / 2, zoom: 1 };
let least = 1;

const numberIn = (field) => {
  const text = field?.value.trim().replace(",", ".") ?? "";
  return text === "" ? null : Number(text);
};
const rounded = (one) => Math.round(one * 100) / 100;
const bodyOf = (kind) => form.querySelector(`[data-kind="${kind}"]`);

// The fields

function readFields() {
  for (const [kind] of MARKS[data.quantity]) {
    const read = (axis) => [...form.querySelectorAll(`[name="${kind}_${axis}"]`)].map(numberIn);
    const ys = read("y");
    const before = marks[kind] ?? [];
    marks[kind] = read("x")
      .map((x, n) => before.find((at) => at[0] === x && at[1] === ys[n]) ?? [x, ys[n]])
      .filter(([x, y]) => x !== null && y !== null && Number.isFinite(x) && Number.isFinite(y));
  }
}

function writeFields(kind) {
  const body = bodyOf(kind);
  while (body.rows.length < marks[kind].length) {
    const row = body.rows[0].cloneNode(true);
    body.append(row);
  }
  [...body.rows].forEach((row, n) => {
    const several = Number(body.dataset.most) > 1;
    row.cells[0].textContent = several ? `${body.dataset.title} ${n + 1}` : body.dataset.title;
    const at = marks[kind][n];
    ["x", "y"].forEach((axis, i) => {
      const field = row.cells[i + 1].firstElementChild;
      field.value = at ? at[i] : "";
      field.setAttribute("aria-label", `${body.dataset.title} ${n + 1}, ${axis}`);
    });
  });
}

function optionsNow() {
  const chosen = (name) => form.querySelector(`[name="${name}"]:checked`)?.value;
  return {
    winding: chosen("winding") ?? "clockwise",
    full_turns: chosen("full_turns") === "1" ? 1 : 0,
    across: chosen("across"),
    unit: ["length", "clearance"].includes(data.quantity)
      ? (form.elements.unit?.value ?? data.unit)
      : "",
    size_mm: numberIn(form.elements.size_mm),
    size_u_mm: (halfWidth() ?? 0) / Math.sqrt(3),
    conductor_mm: data.conductor_mm,
    overall_mm: data.overall_mm,
    conductor_u_mm: data.conductor_u_mm,
    overall_u_mm: data.overall_u_mm,
  };
}

// By how much the known size may be off: as written, else what a known wire brings.
function halfWidth() {
  const written = numberIn(form.elements.size_half_mm);
  if (written !== null || form.elements.size_kind?.value !== "wire") return written;
  const size = numberIn(form.elements.size_mm);
  const wire = data.wires.find(([mm]) => Math.abs(mm - size) < 0.0005);
  return wire ? wire[1] : null;
}

// A mark is uncertain by a pixel as it was shown, or by more if the grader says so. A study of the
// grader bears out less where the photograph is shown no coarser than in it.
function markUncertainty() {
  const widths = Object.entries(marks).flatMap(([kind, points]) =>
    points.map((_at, n) => shown[kind]?.[n] ?? data.shown_unknown_px),
  );
  const width = rounded(Math.min(...widths, data.width * 40));
  form.elements.shown_width_px.value = widths.length ? width : "";
  const least = data.width / (widths.length ? width : data.shown_unknown_px);
  const pixel = Math.max(least, data.closest_px, 1);
  const studied = data.studied;
  const bound =
    studied && pixel <= studied.pixel_px * (1 + 1e-9)
      ? Math.min(pixel, studied.upper_px)
      : pixel * data.scatter;
  return Math.max(numberIn(form.elements.mark_uncertainty_px) ?? 0, bound);
}

// The value

function figures(value, u) {
  const expanded = 2 * u;
  const decimals =
    expanded > 0 && Number.isFinite(expanded)
      ? Math.min(Math.max(1 - Math.floor(Math.log10(expanded)), 0), 6)
      : 3;
  const language = document.documentElement.lang || undefined;
  const shown = new Intl.NumberFormat(language, {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
  });
  return [shown.format(value), shown.format(expanded)];
}

function sharesOf(terms) {
  const whole = Object.values(terms).reduce((sum, term) => sum + term * term, 0);
  if (!whole) return "";
  return Object.entries(terms)
    .map(([name, term]) => {
      const share = Math.round((100 * term * term) / whole);
      return `${data.words.terms[name]} ${share}\u00a0%`;
    })
    .join(", ");
}

function showValue() {
  const options = optionsNow();
  const given = {
    sigma_px: markUncertainty(),
    scale: data.scale,
    view: data.view,
    options,
  };
  const reading = find("#live-value");
  const lines = find("#lines");
  let result = null;
  let says = "";
  try {
    if (data.quantity === "scale" && !(halfWidth() > 0)) throw new MarksRefused("no_tolerance");
    result = measure(data.quantity, marks, given);
    if (!data.is_qualified) result.remarks.push("setup_not_qualified");
  } catch (error) {
    if (!(error instanceof MarksRefused)) throw error;
    says = data.refusals[error.code] ?? data.words[error.code];
  }
  const begun = Object.values(marks).some((points) => points.length);
  lines.replaceChildren();
  find("#remarks").replaceChildren();
  find("#live-verdict").replaceChildren();
  find("#shares").textContent = "";
  reading.textContent = "–";
  delete reading.dataset.value;
  find("#live-says").textContent = begun ? says : "";
  find("#live-against").className = "against";
  if (!result) return;
  const unit = UNITS[result.unit] ?? `\u00a0${result.unit}`;
  const [value, expanded] = figures(result.value, result.u);
  const spread = document.createElement("small");
  spread.textContent = ` ± ${expanded}${unit}`;
  reading.replaceChildren(`${value}${unit}`, spread);
  reading.dataset.value = result.value;
  reading.dataset.u = result.u;
  for (const kind of ["halo", "line"]) {
    for (const line of linesOf(data.quantity, marks, result, options)) {
      svgElement(
        "polyline",
        { class: kind, points: line.map((at) => at.join(",")).join(" ") },
        lines,
      );
    }
  }
  find("#shares").textContent = sharesOf(result.terms);
  for (const code of result.remarks) {
    const item = document.createElement("li");
    item.textContent = data.remarks[code];
    find("#remarks").append(item);
  }
  if (!data.judges) return;
  const call = verdict(result.value, 2 * result.u, ...data.limits, isProven(result.remarks));
  const shape = svgElement("svg", { class: "shape", "aria-hidden": "true" });
  svgElement("use", { href: `#m-${SHAPES[call]}` }, shape);
  find("#live-verdict").replaceChildren(shape, ` ${data.verdicts[call]}`);
  find("#live-against").className = `against is-${call}`;
  reading.dataset.verdict = call;
}

// The picture and its marks

const box = () => photograph.getBoundingClientRect();

function showView() {
  const { width, height } = box();
  if (!width || !height) return;
  least = Math.min(width / data.width, height / data.height);
  view.zoom = Math.min(Math.max(view.zoom, least * 0.9), 40);
  view.x = Math.min(Math.max(view.x, 0), data.width);
  view.y = Math.min(Math.max(view.y, 0), data.height);
  const [wide, high] = [width / view.zoom, height / view.zoom];
  photograph.setAttribute("viewBox", `${view.x - wide / 2} ${view.y - high / 2} ${wide} ${high}`);
  for (const mark of find("#marks").children) placeMark(mark);
}

function whole() {
  const { width, height } = box();
  view.zoom = Math.min(width / data.width, height / data.height);
  [view.x, view.y] = [data.width / 2, data.height / 2];
  showView();
}

const onPhoto = (event) => {
  const { left, top, width, height } = box();
  return [
    view.x + (event.clientX - left - width / 2) / view.zoom,
    view.y + (event.clientY - top - height / 2) / view.zoom,
  ];
};

function zoomBy(times, event = null) {
  const before = event ? onPhoto(event) : [view.x, view.y];
  view.zoom = Math.min(Math.max(view.zoom * times, least * 0.9), 40);
  if (event) {
    const after = onPhoto(event);
    view.x += before[0] - after[0];
    view.y += before[1] - after[1];
  }
  showView();
}

const atOf = (mark) => marks[mark.dataset.kind][Number(mark.dataset.n)];

function placeMark(mark) {
  const [x, y] = atOf(mark);
  mark.setAttribute("transform", `translate(${x} ${y}) scale(${1 / view.zoom})`);
  const body = bodyOf(mark.dataset.kind);
  const label = data.words.mark
    .replace("%(kind)s", body.dataset.title)
    .replace("%(n)s", Number(mark.dataset.n) + 1)
    .replace("%(all)s", marks[mark.dataset.kind].length)
    .replace("%(x)s", x.toFixed(1))
    .replace("%(y)s", y.toFixed(1));
  mark.setAttribute("aria-label", label);
}

function drawMarks() {
  const layer = find("#marks");
  layer.replaceChildren();
  const wanted = [...form.querySelectorAll("[data-kind]")].map((body) => body.dataset.kind);
  for (const kind of wanted) {
    marks[kind].forEach((at, n) => {
      const mark = svgElement("g", { class: "mark", tabindex: 0, role: "button" }, layer);
      mark.dataset.kind = kind;
      mark.dataset.n = n;
      mark.classList.toggle("is-proposed", at.found === PROPOSED);
      svgElement(
        "circle",
        { class: "reach", r: matchMedia("(pointer: coarse)").matches ? 24 : 14 },
        mark,
      );
      svgElement("circle", { class: "ring", r: 12 }, mark);
      for (const stroke of ["halo", "white"]) {
        svgElement("path", { class: stroke, d: "M-9 0H-2.5M2.5 0H9M0-9V-2.5M0 2.5V9" }, mark);
      }
      placeMark(mark);
    });
    const [, , most] = MARKS[data.quantity].find(([name]) => name === kind);
    const count = find(`[data-count="${kind}"]`);
    count.textContent = `${marks[kind].length} / ${most > 2 ? "5+" : most}`;
  }
}

function changed(kind, { redraw = true } = {}) {
  writeFields(kind);
  if (redraw) drawMarks();
  showValue();
  sayFinding();
}

const clamped = ([x, y]) => [
  rounded(Math.min(Math.max(x, 0), data.width)),
  rounded(Math.min(Math.max(y, 0), data.height)),
];

const markAt = (kind, n) => find(`#marks [data-kind="${kind}"][data-n="${n}"]`);

// A click sets the next mark of the kind chosen; where it has all of its marks, the nearest moves.
function setMark(at) {
  const chosen = find(".kinds input:checked");
  const kind = chosen.value;
  if (isFinding(kind)) {
    findMarks(kind, clamped(at));
    return;
  }
  const most = Number(bodyOf(kind).dataset.most);
  const points = marks[kind];
  let n = points.length;
  if (n < most) points.push(clamped(at));
  else {
    const far = (one) => Math.hypot(one[0] - at[0], one[1] - at[1]);
    n = points.indexOf(points.reduce((a, b) => (far(b) < far(a) ? b : a)));
    points[n] = clamped(at);
  }
  noteShown(kind, n);
  changed(kind);
  markAt(kind, n)?.focus({ preventScroll: true });
  chooseNext();
}

function chooseNext() {
  const full = (input) => marks[input.value].length >= Number(bodyOf(input.value).dataset.most);
  const inputs = [...document.querySelectorAll(".kinds input")];
  const current = inputs.find((one) => one.checked);
  if (!current || !full(current)) return;
  const open = inputs.find((one) => !full(one));
  if (open) open.checked = true;
}

// Marks found in the photograph: proposed, looked at, and accepted or dragged.

const clicks = [];
const finder = (kind) => data.finders?.[kind] ?? [];
const isFinding = (kind) => Boolean(find("#find-edge")?.checked) && finder(kind).length > 0;
const chosenKind = () => find(".kinds input:checked").value;
const proposals = () =>
  Object.values(marks)
    .flat()
    .filter((at) => at.found === PROPOSED);

function sayFinding(says) {
  if (!find("#finding")) return;
  const waits = proposals().length > 0;
  find("#accept").hidden = !waits;
  find("#keep").disabled = waits;
  const kind = chosenKind();
  const next = isFinding(kind) ? finder(kind)[clicks.length] : "";
  find("#find-says").textContent = says ?? (waits ? data.words.found : next);
}

async function findMarks(kind, at) {
  clicks.push(at);
  if (clicks.length < finder(kind).length) {
    sayFinding();
    return;
  }
  const body = new FormData();
  body.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  body.append("quantity", data.quantity);
  body.append("kind", kind);
  for (const [x, y] of clicks.splice(0)) {
    body.append("x", x);
    body.append("y", y);
  }
  sayFinding(data.words.looking);
  let answer = { says: data.words.not_looked };
  try {
    const headers = { Accept: "application/json" };
    const response = await fetch(data.find_url, { method: "POST", body, headers });
    answer = await response.json();
  } catch {
    // What is said is that no answer came.
  }
  for (const [found, points] of Object.entries(answer.marks ?? {})) {
    marks[found] = points.map((point) => Object.assign(clamped(point), { found: PROPOSED }));
    shown[found] = [];
    for (const n of points.keys()) noteShown(found, n);
    changed(found);
  }
  sayFinding(answer.says);
}

function acceptProposals() {
  for (const at of proposals()) at.found = ACCEPTED;
  drawMarks();
  chooseNext();
  sayFinding();
  find("#keep").focus({ preventScroll: true });
}

function noteShown(kind, n) {
  shown[kind] ??= [];
  shown[kind][n] = data.width * view.zoom;
}

function moveMark(mark, at) {
  const { kind, n } = mark.dataset;
  marks[kind][Number(n)] = clamped(at);
  noteShown(kind, Number(n));
  mark.classList.remove("is-proposed");
  placeMark(mark);
  changed(kind, { redraw: false });
  showLoupe(mark);
}

function takeAway(mark) {
  const { kind, n } = mark.dataset;
  marks[kind].splice(Number(n), 1);
  shown[kind]?.splice(Number(n), 1);
  changed(kind);
  (markAt(kind, Math.max(Number(n) - 1, 0)) ?? photograph).focus?.({ preventScroll: true });
}

function showLoupe(mark) {
  const loupe = find("#loupe");
  const [x, y] = atOf(mark);
  const reach = Math.max(24 / view.zoom, 5);
  loupe.removeAttribute("hidden");
  loupe.setAttribute("viewBox", `${x - reach} ${y - reach} ${2 * reach} ${2 * reach}`);
  const r = reach;
  loupe
    .querySelector(".cross")
    .setAttribute(
      "d",
      `M${x - r} ${y}H${x - r / 8}M${x + r / 8} ${y}H${x + r}M${x} ${y - r}V${y - r / 8}M${x} ${y + r / 8}V${y + r}`,
    );
  loupe.classList.toggle("is-left", x > view.x);
}

const hideLoupe = () => find("#loupe").setAttribute("hidden", "");

// Pointers: one drags a mark or the picture, two pinch.

const pointers = new Map();
let held = null; // {mark, offset} or {from, x, y, moved}
let pinch = null;

function onPointerDown(event) {
  if (event.button !== 0) return;
  photograph.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, event);
  if (pointers.size === 2) {
    const [a, b] = [...pointers.values()];
    pinch = { apart: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY), zoom: view.zoom };
    held = null;
    hideLoupe();
    return;
  }
  const mark = event.target.closest(".mark");
  const at = onPhoto(event);
  if (mark) {
    const [x, y] = atOf(mark);
    held = { mark, offset: [x - at[0], y - at[1]] };
    mark.focus({ preventScroll: true });
    showLoupe(mark);
    event.preventDefault();
  } else {
    held = { from: [event.clientX, event.clientY], x: view.x, y: view.y, moved: false };
  }
}

function onPointerMove(event) {
  if (!pointers.has(event.pointerId)) return;
  pointers.set(event.pointerId, event);
  if (pinch && pointers.size === 2) {
    const [a, b] = [...pointers.values()];
    const apart = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    const middle = { clientX: (a.clientX + b.clientX) / 2, clientY: (a.clientY + b.clientY) / 2 };
    zoomBy((pinch.zoom * apart) / pinch.apart / view.zoom, middle);
    return;
  }
  if (!held) return;
  if (held.mark) {
    const at = onPhoto(event);
    moveMark(held.mark, [at[0] + held.offset[0], at[1] + held.offset[1]]);
    return;
  }
  const by = [event.clientX - held.from[0], event.clientY - held.from[1]];
  if (!held.moved && Math.hypot(...by) < CLICK) return;
  held.moved = true;
  photograph.parentElement.classList.add("is-moving");
  view.x = held.x - by[0] / view.zoom;
  view.y = held.y - by[1] / view.zoom;
  showView();
}

function onPointerUp(event) {
  if (!pointers.delete(event.pointerId)) return;
  photograph.parentElement.classList.remove("is-moving");
  if (held && !held.mark && !held.moved && event.type === "pointerup") {
    const at = onPhoto(event);
    if (at[0] >= 0 && at[1] >= 0 && at[0] <= data.width && at[1] <= data.height) setMark(at);
  }
  held = null;
  hideLoupe();
  if (pointers.size === 0) pinch = null;
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey) return;
  const mark = document.activeElement?.closest?.(".mark");
  const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
    event.key
  ];
  if (mark && by) {
    event.preventDefault();
    const step = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    const [x, y] = atOf(mark);
    moveMark(mark, [x + by[0] * step, y + by[1] * step]);
  } else if (mark && ["Delete", "Backspace"].includes(event.key)) {
    event.preventDefault();
    hideLoupe();
    takeAway(mark);
  } else if (!event.target.closest?.(WRITES)) {
    if (event.key === "+" || event.key === "=") zoomBy(1.25);
    if (event.key === "-") zoomBy(0.8);
    if (event.key === "0") whole();
  }
}

async function save(event) {
  event.preventDefault();
  const button = find("#keep");
  if (proposals().length) return;
  const sent = new FormData(form);
  for (const [kind, points] of Object.entries(marks)) {
    const asFound = points.length > 0 && points.every((at) => at.found === ACCEPTED);
    if (asFound) sent.append("found", kind);
  }
  button.disabled = true;
  let answer = { saved: false, says: data.words.not_sent };
  try {
    const response = await fetch(form.action, {
      method: "POST",
      body: sent,
      headers: { Accept: "application/json" },
    });
    answer = await response.json();
  } catch {
    // What is said is that no answer came.
  }
  if (answer.saved) {
    window.location.assign(answer.go);
    return;
  }
  button.disabled = false;
  find("#live-says").textContent = answer.says;
}

readFields();
drawMarks();
chooseNext();
showValue();
whole();
find(".view-tools").hidden = false;
const clear = find("#clear");
clear.hidden = false;
clear.addEventListener("click", () => {
  for (const [kind] of MARKS[data.quantity]) {
    marks[kind] = [];
    shown[kind] = [];
    changed(kind);
  }
  find(".kinds input").checked = true;
});
if (find("#finding")) {
  find("#finding").hidden = false;
  find("#accept").addEventListener("click", acceptProposals);
  for (const field of [find("#find-edge"), ...document.querySelectorAll(".kinds input")]) {
    field.addEventListener("change", () => {
      clicks.length = 0;
      sayFinding();
    });
  }
}
find("#middle").hidden = false;
find("#middle").addEventListener("click", () => setMark([view.x, view.y]));
for (const button of document.querySelectorAll("[data-view]")) {
  const act = { closer: () => zoomBy(1.5), farther: () => zoomBy(1 / 1.5), whole }[
    button.dataset.view
  ];
  button.addEventListener("click", act);
}
for (const id of ["brightness", "contrast"]) {
  find(`#${id}`).addEventListener("input", () => {
    const filter = `brightness(${find("#brightness").value}) contrast(${find("#contrast").value})`;
    for (const image of document.querySelectorAll(".measure-photo image"))
      image.style.filter = filter;
  });
}
form.addEventListener("input", (event) => {
  const body = event.target.closest("[data-kind]");
  if (body) {
    shown[body.dataset.kind] = []; // Written, not set on the picture.
    readFields();
    drawMarks();
  }
  showValue();
});
form.addEventListener("submit", save);
photograph.addEventListener("pointerdown", onPointerDown);
photograph.addEventListener("pointermove", onPointerMove);
photograph.addEventListener("pointerup", onPointerUp);
photograph.addEventListener("pointercancel", onPointerUp);
photograph.addEventListener(
  "wheel",
  (event) => {
    event.preventDefault();
    zoomBy(Math.exp(-event.deltaY / 400), event);
  },
  { passive: false },
);
photograph.addEventListener("focusin", (event) => {
  const mark = event.target.closest(".mark");
  if (mark?.matches(":focus-visible")) showLoupe(mark);
});
photograph.addEventListener("focusout", hideLoupe);
document.addEventListener("keydown", onKey);
new ResizeObserver(showView).observe(photograph);
