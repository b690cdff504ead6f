// Measuring on a photograph, as assessments/domain/geometry.py does it: the value moves with the
// marks here, and the server works it out again from the same marks when it is kept. One table of
// cases (tests/reference/measuring/cases.json) holds both to the same results.

import { fit, NoCircle, refit } from "./circle.js";

const SMALL_WIRE_PX = 12;
const FLAT_ANGLE_DEG = 10;
const SHORT_ARC_DEG = 60;
const FARTHEST_PX = 1e6;
const SAME_PLACE_PX = 1e-6;
const NUDGE = 1e-5;

// Kinds of marks of each quantity: name, how many at least, how many at most.
export const MARKS = {
  scale: [["ends", 2, 2]],
  length: [["ends", 2, 2]],
  clearance: [
    ["insulation", 1, 1],
    ["joint", 1, 1],
    ["across", 2, 2],
  ],
  wrap: [
    ["centre", 1, 1],
    ["start", 1, 1],
    ["end", 1, 1],
  ],
  fillet: [
    ["edge", 5, 25],
    ["solder", 1, 1],
  ],
  wetting_angle: [
    ["edge", 5, 25],
    ["base", 2, 2],
    ["solder", 1, 1],
  ],
  fill: [
    ["bottom", 1, 1],
    ["top", 1, 1],
    ["level", 1, 1],
  ],
};

export class MarksRefused extends Error {
  constructor(code) {
    super(code);
    this.code = code;
  }
}

const minus = (a, b) => [a[0] - b[0], a[1] - b[1]];
const times = (a, by) => [a[0] * by, a[1] * by];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1];
const cross = (a, b) => a[0] * b[1] - a[1] * b[0];
const size = (a) => Math.hypot(a[0], a[1]);
const angle = (a, b) => Math.atan2(cross(a, b), dot(a, b));
const degrees = (one) => (one * 180) / Math.PI;
const length = (ends) => size(minus(ends[1], ends[0]));
const turned = (a, by) => {
  const c = Math.cos(by);
  const s = Math.sin(by);
  return [c * a[0] - s * a[1], s * a[0] + c * a[1]];
};

/**
 * Measure one quantity from marks on a photograph.
 *
 * @param {string} quantity
 * @param {Object<string, number[][]>} marks pixels of the upright photograph
 * @param {{sigma_px?: number, scale?: {mm_per_px: number, relative_u: ?number}, options?: object}} said
 * @returns {{value: number, u: number, unit: string, remarks: string[], also: Object<string, number>}}
 * @throws {MarksRefused} with the code of what is wrong
 */
export function measure(quantity, marks, said = {}) {
  const { sigma_px: sigma = 1, scale = null, options = {} } = said;
  const points = {};
  for (const [name, least, most] of MARKS[quantity]) {
    points[name] = checked(marks[name] ?? [], least, most);
  }
  const found = MEASURES[quantity](points, sigma, scale, options);
  const wire = wirePx(quantity, points, scale, options);
  if (wire !== null && wire < SMALL_WIRE_PX) found.remarks.push("small_wire");
  return found;
}

/** What a value says of its limits; a limit of null is none. */
export function verdict(value, expanded, low, high) {
  if ((low !== null && value + expanded < low) || (high !== null && value - expanded > high)) {
    return "outside";
  }
  if ((low === null || value - expanded >= low) && (high === null || value + expanded <= high)) {
    return "within";
  }
  return "too_close_to_call";
}

function checked(given, least, most) {
  if (given.length < least) throw new MarksRefused("too_few_marks");
  if (given.length > most) throw new MarksRefused("too_many_marks");
  for (const one of given) {
    if (!(Math.abs(one[0]) <= FARTHEST_PX && Math.abs(one[1]) <= FARTHEST_PX)) {
      throw new MarksRefused("mark_not_on_photograph");
    }
  }
  return given;
}

function refuseCoinciding(...rows) {
  for (let i = 0; i < rows.length; i += 1) {
    for (let j = i + 1; j < rows.length; j += 1) {
      if (size(minus(rows[i], rows[j])) < SAME_PLACE_PX) throw new MarksRefused("marks_coincide");
    }
  }
}

function wirePx(quantity, points, scale, options) {
  if (quantity === "clearance") return length(points.across);
  if (quantity !== "scale" && scale && options.conductor_mm) {
    return options.conductor_mm / scale.mm_per_px;
  }
  return null;
}

const result = (value, u, unit, remarks = [], also = {}) => ({
  value,
  u,
  unit,
  remarks: [...remarks],
  also,
});

// Sizes

function measureScale({ ends }, sigma, _scale, options) {
  refuseCoinciding(...ends);
  const known = options.size_mm;
  if (!(known > 0 && known < FARTHEST_PX)) throw new MarksRefused("size_not_known");
  const px = length(ends);
  const share = Math.hypot((options.size_u_mm ?? 0) / known, (Math.SQRT2 * sigma) / px);
  const value = known / px;
  return result(value, value * share, "mm/px", [], { relative_u: share, px });
}

function diameterMm(unit, options) {
  const found = { mm: 1, d: options.conductor_mm, D: options.overall_mm }[unit];
  if (!found) throw new MarksRefused("size_not_known");
  return found;
}

const ofScale = (scale) => ((scale.relative_u ?? null) === null ? ["scale_unsure"] : []);

function measureLength({ ends }, sigma, scale, options) {
  refuseCoinciding(...ends);
  if (!scale) throw new MarksRefused("size_not_known");
  const unit = options.unit || "mm";
  const px = length(ends);
  const value = (px * scale.mm_per_px) / diameterMm(unit, options);
  const share = Math.hypot((Math.SQRT2 * sigma) / px, scale.relative_u ?? 0);
  return result(value, value * share, unit, ofScale(scale), { px });
}

function measureClearance(points, sigma, scale, options) {
  const {
    across,
    insulation: [insulation],
    joint: [joint],
  } = points;
  refuseCoinciding(...across);
  const q = minus(across[1], across[0]);
  const r = minus(joint, insulation);
  const width = size(q);
  const ahead = [-q[1] / width, q[0] / width];
  const between = times([across[0][0] + across[1][0], across[0][1] + across[1][1]], 0.5);
  const onConductor = options.across === "conductor";
  const lead = dot(minus(insulation, between), ahead) * (onConductor ? -1 : 1);
  if (Math.abs(lead) < 0.02 * width) throw new MarksRefused("side_unclear");
  const turn = lead > 0 ? 1 : -1;
  const gap = turn * dot(ahead, r);
  let byQ = [0, 1].map((i) => (turn * [r[1], -r[0]][i]) / width - (gap * q[i]) / width ** 2);
  const unit = options.unit || (onConductor ? "d" : "D");
  const remarks = Math.abs(lead) < 3 * sigma ? ["side_near"] : [];
  const uPx = sigma * Math.sqrt(2 + 2 * dot(byQ, byQ));
  const also = { px: gap, across_px: width };
  if (scale) {
    also.mm = gap * scale.mm_per_px;
    also.mm_u = scale.mm_per_px * Math.hypot(uPx, gap * (scale.relative_u ?? 0));
  }
  if (unit === "px") return result(gap, uPx, unit, remarks, also);
  if (unit === "mm") {
    if (!scale) throw new MarksRefused("size_not_known");
    return result(also.mm, also.mm_u, unit, [...remarks, ...ofScale(scale)], also);
  }
  const value = gap / width;
  byQ = [0, 1].map((i) => byQ[i] / width - (value * q[i]) / width ** 2);
  const u = sigma * Math.sqrt(2 / width ** 2 + 2 * dot(byQ, byQ));
  const marked = onConductor ? "d" : "D";
  const factor = unit === marked ? 1 : diameterMm(marked, options) / diameterMm(unit, options);
  return result(value * factor, u * factor, unit, remarks, also);
}

function measureWrap(points, sigma, _scale, options) {
  const {
    centre: [centre],
    start: [start],
    end: [end],
  } = points;
  refuseCoinciding(centre, start);
  refuseCoinciding(centre, end);
  const turns = options.full_turns ?? 0;
  if (turns !== 0 && turns !== 1) throw new MarksRefused("turns_not_possible");
  const a = minus(start, centre);
  const b = minus(end, centre);
  const whole = 2 * Math.PI;
  const signed = options.winding === "anticlockwise" ? -angle(a, b) : angle(a, b);
  const value = degrees(((signed % whole) + whole) % whole) + 360 * turns;
  const byStart = times([a[1], -a[0]], 1 / dot(a, a));
  const byEnd = times([-b[1], b[0]], 1 / dot(b, b));
  const all = [...byStart, ...byEnd, byStart[0] + byEnd[0], byStart[1] + byEnd[1]];
  const u = degrees(sigma * Math.hypot(...all));
  const meet = Math.min(value % 360, 360 - (value % 360)) < 2 * u;
  return result(value, u, "deg", meet ? ["whole_turn"] : []);
}

function measureFill(points, sigma) {
  const {
    bottom: [bottom],
    top: [top],
    level: [level],
  } = points;
  refuseCoinciding(bottom, top);
  const up = minus(top, bottom);
  const out = minus(level, bottom);
  const square = dot(up, up);
  const value = dot(out, up) / square;
  const byLevel = times(up, 1 / square);
  const byTop = [0, 1].map((i) => (out[i] - 2 * value * up[i]) / square);
  const all = [...byLevel, ...byTop, byLevel[0] + byTop[0], byLevel[1] + byTop[1]];
  return result(100 * value, 100 * sigma * Math.hypot(...all), "percent");
}

// The fillet's edge

function edgeAlong(arc, points) {
  const x = points.map((one) => arc.local(one));
  const last = x.length - 1;
  const ends = [arc.foot(x[0]), arc.foot(x[last])];
  const [a, b, c] = [x[0], x[Math.floor(x.length / 2)], x[last]].map((one) => arc.normal(one));
  const turnedBy = angle(a, b) + angle(b, c);
  const normal = turned(a, turnedBy / 2);
  const between = minus(ends[1], ends[0]);
  const way = Math.sign(-normal[1] * between[0] + normal[0] * between[1]) || 1;
  const turn = way * turnedBy;
  const chord = size(between);
  const rise = (chord / 2) * Math.tan(turn / 4);
  const middle = [0, 1].map((i) => (ends[0][i] + ends[1][i]) / 2 + normal[i] * rise);
  return { arc, turn, first: ends[0], last: ends[1], middle, normal, chord };
}

function unclear(error) {
  return error instanceof NoCircle ? new MarksRefused("edge_unclear") : error;
}

function fitted(points) {
  refuseCoinciding(...points);
  try {
    return fit(points);
  } catch (error) {
    throw unclear(error);
  }
}

// How a result changes with every coordinate of every mark: each is moved a little both ways, and
// the circle fitted anew. The edge's marks come first.
function spread(sets, arc, of) {
  const rows = sets.flat();
  const reach = [0, 1].map((i) => {
    const row = rows.map((one) => one[i]);
    return Math.max(...row) - Math.min(...row);
  });
  const step = NUDGE * size(reach);
  const at = (set, mark, axis, by) => {
    const moved = sets.map((points, s) =>
      points.map((point, m) =>
        s === set && m === mark ? point.map((one, i) => (i === axis ? one + by : one)) : point,
      ),
    );
    return of(refit(moved[0], arc), moved);
  };
  const allMarks = sets.flatMap((points, set) => points.map((_point, mark) => [set, mark]));
  let sum = 0;
  try {
    for (const [set, mark] of allMarks) {
      for (const axis of [0, 1]) {
        const slope = (at(set, mark, axis, step) - at(set, mark, axis, -step)) / (2 * step);
        sum += slope * slope;
      }
    }
  } catch (error) {
    throw unclear(error);
  }
  return Math.sqrt(sum);
}

function about(edge, solder, sigma) {
  const side = dot(minus(edge.arc.local(solder), edge.middle), edge.normal);
  if (Math.abs(side) < 1e-6 * edge.chord) throw new MarksRefused("side_unclear");
  const remarks = [];
  if (Math.abs(side) * edge.arc.reach < 2 * sigma) remarks.push("side_near");
  const arcDeg = degrees(Math.abs(edge.turn));
  if (arcDeg < SHORT_ARC_DEG) remarks.push("short_arc");
  const also = { arc_deg: arcDeg };
  for (const name of ["first", "middle", "last"]) {
    [also[`${name}_x`], also[`${name}_y`]] = edge.arc.pixels(edge[name]);
  }
  return { side: side > 0 ? 1 : -1, remarks, also };
}

function measureFillet(points, sigma) {
  const marks = points.edge;
  const arc = fitted(marks);
  const edge = edgeAlong(arc, marks);
  const { side, remarks, also } = about(edge, points.solder[0], sigma);
  const of = (arcs, moved) => (side * Math.tan(edgeAlong(arcs, moved[0]).turn / 4)) / 2;
  const u = sigma * spread([marks], arc, of);
  return result((side * Math.tan(edge.turn / 4)) / 2, u, "ratio", remarks, also);
}

function crossingOf(arc, first, base) {
  const start = arc.local(base[0]);
  const span = minus(arc.local(base[1]), start);
  const along = times(span, 1 / size(span));
  const near = dot(minus(arc.local(first), start), along);
  const foot = [start[0] + near * along[0], start[1] + near * along[1]];
  const level = arc.level(foot);
  const rate = dot(arc.slope(foot), along);
  const root = Math.sqrt(rate * rate - 2 * arc.theta[0] * level);
  const t = (-2 * level) / (rate + (rate < 0 ? -root : root));
  return [foot[0] + t * along[0], foot[1] + t * along[1]];
}

function measureWettingAngle(points, sigma) {
  const {
    edge: marks,
    base,
    solder: [solder],
  } = points;
  refuseCoinciding(...base);
  const arc = fitted(marks);
  const edge = edgeAlong(arc, marks);
  const { side, remarks, also } = about(edge, solder, sigma);
  const rise = cross(minus(base[1], base[0]), minus(solder, base[0])) / length(base);
  if (Math.abs(rise) < 1e-6 * length(base)) throw new MarksRefused("side_unclear");
  if (Math.abs(rise) < 2 * sigma && !remarks.includes("side_near")) remarks.push("side_near");
  const up = rise > 0 ? 1 : -1;
  const of = (arcs, [moved, line]) => {
    const into = times(arcs.normal(crossingOf(arcs, moved[0], line)), side);
    const along = minus(line[1], line[0]);
    const off = times([-along[1], along[0]], up / size(along));
    return Math.PI - Math.abs(angle(off, into));
  };
  const crossing = crossingOf(arc, marks[0], base);
  if (!crossing.every(Number.isFinite)) throw new MarksRefused("edge_misses_base");
  const value = degrees(of(arc, [marks, base]));
  const slope = spread([marks, base], arc, of);
  if (!Number.isFinite(slope)) throw new MarksRefused("edge_misses_base");
  const least = Math.max(FLAT_ANGLE_DEG, 2 * degrees(sigma * slope));
  if (!(least <= value && value <= 180 - least)) remarks.push("flat_angle");
  [also.crossing_x, also.crossing_y] = arc.pixels(crossing);
  return result(value, degrees(sigma * slope), "deg", remarks, also);
}

const MEASURES = {
  scale: measureScale,
  length: measureLength,
  clearance: measureClearance,
  wrap: measureWrap,
  fillet: measureFillet,
  wetting_angle: measureWettingAngle,
  fill: measureFill,
};
