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
const LEAST_POST = 5;
const STRAIGHT = 1e-3;
const DIRECTIONS = 36;
const WIDEST_LIFT = 0.5;
const SAID_ONLY = new Set(["setup_not_qualified"]);

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
    ["post", 0, 25],
    ["centre", 0, 1],
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
 * @param {{sigma_px?: number, scale?: object, options?: object, view?: object}} said
 * @returns {{value: number, u: number, unit: string, remarks: string[], also: Object<string, number>, terms: Object<string, number>}}
 * @throws {MarksRefused} with the code of what is wrong
 */
export function measure(quantity, marks, said = {}) {
  const { sigma_px: sigma = 1, scale = null, options = {}, view = null } = said;
  const points = {};
  for (const [name, least, most] of MARKS[quantity]) {
    points[name] = checked(marks[name] ?? [], least, most);
  }
  const read = MEASURES[quantity](points, sigma, scale, options);
  const { terms, bound } = termsOf(quantity, read, points, sigma, scale, view);
  const u = Math.hypot(...Object.values(terms));
  const remarks = [...read.remarks];
  const also = { ...read.also };
  if (read.gapSlopes && scale) {
    const slopes = scaled(read.gapSlopes, scale.mm_per_px);
    const inMm = { value: also.mm, slopes, byScale: true };
    const found = termsOf("clearance", inMm, points, sigma, scale, view).terms;
    also.mm_u = Math.hypot(...Object.values(found));
  }
  if (quantity === "scale") {
    also.relative_u = Math.hypot(terms.marks, terms.size) / read.value;
    also.relative_view = bound / read.value;
  }
  if (quantity === "wrap" && Math.min(read.value % 360, 360 - (read.value % 360)) < 2 * u) {
    remarks.push("whole_turn");
  }
  if (quantity === "wetting_angle") {
    const least = Math.max(FLAT_ANGLE_DEG, 2 * u);
    if (!(least <= read.value && read.value <= 180 - least)) remarks.push("flat_angle");
  }
  if (read.lift && view) {
    const shift = leanOf(view) * pxPerMm(view, scale?.mm_per_px) * view.depth_mm;
    if (shift / also.reach_px > WIDEST_LIFT) remarks.push("view_wide");
  }
  const wire = wirePx(quantity, points, scale, options);
  if (wire !== null && wire < SMALL_WIRE_PX) remarks.push("small_wire");
  return { value: read.value, u, unit: read.unit, remarks, also, terms };
}

/** Whether no remark says that the uncertainty of a result is not proven. */
export const isProven = (remarks) => remarks.every((code) => SAID_ONLY.has(code));

// What the uncertainty of a reading is made of, in its unit, and the bound of the view.
function termsOf(quantity, read, points, sigma, scale, view) {
  const kinds = Object.keys(read.slopes);
  const slopes = kinds.flatMap((kind) => read.slopes[kind]);
  const terms = { marks: sigma * Math.hypot(...slopes.flat()) };
  const at = Math.abs(read.value);
  if (read.byScale) terms.scale = at * (scale?.relative_u ?? 0);
  if (read.sizeRelative !== undefined) terms.size = at * read.sizeRelative;
  let bound = 0;
  if (view) {
    const mmPerPx = quantity === "scale" ? read.value : scale?.mm_per_px;
    const placed = kinds.flatMap((kind) => points[kind]);
    const apart = kinds.flatMap((kind) => points[kind].map(() => kind === read.apart));
    bound = viewBound(view, placed, slopes, pxPerMm(view, mmPerPx), apart, read.lift);
  }
  if (read.byScale && scale) {
    bound += at * (scale.relative_view ?? 0);
    if (view) bound += (at * view.depth_mm) / view.distance_mm;
  }
  if (bound) {
    const rest = Math.hypot(...Object.values(terms));
    terms.view = Math.sqrt(bound * rest + (bound * bound) / 4);
  }
  return { terms, bound };
}

// What the view may do, as assessments/domain/view.py bounds it.

const leanOf = (view) => Math.tan((view.tilt_deg * Math.PI) / 180);
const pxPerMm = (view, mmPerPx) => (mmPerPx ? 1 / mmPerPx : view.width_px / view.field_mm);

function viewBound(view, points, slopes, pxMm, apart, lift) {
  const x = points.map((at) => [at[0] - view.width_px / 2, at[1] - view.height_px / 2]);
  const off = apart.map((one) => (one ? view.depth_mm : view.relief_mm));
  const reach = Math.hypot(view.width_px, view.height_px) / 2;
  const lean = leanOf(view);
  const distancePx = view.distance_mm * pxMm;
  const shorter = 1 - Math.cos((view.tilt_deg * Math.PI) / 180);
  const byWay = slopes.map((slope, n) => dot(slope, x[n]));
  const sum = (of) => slopes.reduce((whole, slope, n) => whole + of(slope, n), 0);
  let worst = 0;
  for (let step = 0; step < DIRECTIONS; step += 1) {
    const angleOf = (Math.PI * step) / DIRECTIONS;
    const along = [Math.cos(angleOf), Math.sin(angleOf)];
    const leaning = (slope, n) => (apart[n] && lift ? 0 : off[n] * Math.abs(dot(slope, along)));
    let tilted = lean * pxMm * sum(leaning);
    tilted += (lean / distancePx) * Math.abs(sum((_slope, n) => byWay[n] * dot(x[n], along)));
    tilted += shorter * Math.abs(sum((slope, n) => dot(slope, along) * dot(x[n], along)));
    if (lift) {
      const push = times(along, lean * pxMm * view.depth_mm);
      tilted += Math.max(Math.abs(lift(push)), Math.abs(lift(times(push, -1))));
    }
    worst = Math.max(worst, tilted);
  }
  const near = sum((_slope, n) => off[n] * Math.abs(byWay[n])) / view.distance_mm;
  const lens = Math.abs(sum((_slope, n) => byWay[n] * dot(x[n], x[n]))) / reach ** 2;
  return worst / Math.cos(Math.PI / DIRECTIONS / 2) + near + view.distortion * lens;
}

/** What a value says of its limits; a limit of null is none, and what is not proven says nothing. */
export function verdict(value, expanded, low, high, proven = true) {
  if (!proven) return "too_close_to_call";
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

const reading = (value, unit, slopes, more = {}) => ({
  value,
  unit,
  slopes,
  remarks: [],
  also: {},
  ...more,
});

const scaled = (slopes, by) =>
  Object.fromEntries(
    Object.entries(slopes).map(([kind, rows]) => [kind, rows.map((row) => times(row, by))]),
  );

// Sizes

function along(ends, by) {
  const way = times(minus(ends[1], ends[0]), by / length(ends));
  return [times(way, -1), way];
}

function measureScale({ ends }, _sigma, _scale, options) {
  refuseCoinciding(...ends);
  const known = options.size_mm;
  if (!(known > 0 && known < FARTHEST_PX)) throw new MarksRefused("size_not_known");
  const px = length(ends);
  const value = known / px;
  return reading(
    value,
    "mm/px",
    { ends: along(ends, -value / px) },
    { sizeRelative: (options.size_u_mm ?? 0) / known, also: { px } },
  );
}

function diameterMm(unit, options) {
  const found = { mm: 1, d: options.conductor_mm, D: options.overall_mm }[unit];
  if (!found) throw new MarksRefused("size_not_known");
  return found;
}

const diameterU = (unit, options) =>
  (({ d: options.conductor_u_mm, D: options.overall_u_mm })[unit] ?? 0) / diameterMm(unit, options);

const ofScale = (scale) => (scale.relative_u ? [] : ["scale_unsure"]);

function measureLength({ ends }, _sigma, scale, options) {
  refuseCoinciding(...ends);
  if (!scale) throw new MarksRefused("size_not_known");
  const unit = options.unit || "mm";
  const px = length(ends);
  const by = scale.mm_per_px / diameterMm(unit, options);
  return reading(
    px * by,
    unit,
    { ends: along(ends, by) },
    {
      byScale: true,
      ...(unit === "mm" ? {} : { sizeRelative: diameterU(unit, options) }),
      remarks: ofScale(scale),
      also: { px },
    },
  );
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
  const bothWays = (byR, by) => ({
    insulation: [times(byR, -1)],
    joint: [byR],
    across: [times(by, -1), by],
  });
  const gapSlopes = bothWays(times(ahead, turn), byQ);
  const unit = options.unit || (onConductor ? "d" : "D");
  const remarks = Math.abs(lead) < 3 * sigma ? ["side_near"] : [];
  const also = { px: gap, across_px: width };
  if (scale) also.mm = gap * scale.mm_per_px;
  if (unit === "px") return reading(gap, unit, gapSlopes, { remarks, also, gapSlopes });
  if (unit === "mm") {
    if (!scale) throw new MarksRefused("size_not_known");
    return reading(also.mm, unit, scaled(gapSlopes, scale.mm_per_px), {
      byScale: true,
      remarks: [...remarks, ...ofScale(scale)],
      also,
      gapSlopes,
    });
  }
  const value = gap / width;
  byQ = [0, 1].map((i) => byQ[i] / width - (value * q[i]) / width ** 2);
  const marked = onConductor ? "d" : "D";
  const more = { remarks, also, gapSlopes };
  let factor = 1;
  if (unit !== marked) {
    factor = diameterMm(marked, options) / diameterMm(unit, options);
    more.sizeRelative = Math.hypot(diameterU(marked, options), diameterU(unit, options));
  }
  const slopes = bothWays(times(ahead, (factor * turn) / width), times(byQ, factor));
  return reading(value * factor, unit, slopes, more);
}

function measureWrap(points, _sigma, _scale, options) {
  const {
    post,
    start: [start],
    end: [end],
  } = points;
  const { centre, byPost } = centreOf(points);
  refuseCoinciding(centre, start);
  refuseCoinciding(centre, end);
  const turns = options.full_turns ?? 0;
  if (turns !== 0 && turns !== 1) throw new MarksRefused("turns_not_possible");
  const way = options.winding === "anticlockwise" ? -1 : 1;
  const turnedAbout = (middle) => way * angle(minus(start, middle), minus(end, middle));
  const whole = 2 * Math.PI;
  const inTurn = (one) => ((one % whole) + whole) % whole;
  const signed = turnedAbout(centre);
  const value = degrees(inTurn(signed)) + 360 * turns;
  const a = minus(start, centre);
  const b = minus(end, centre);
  const byStart = times([a[1], -a[0]], degrees(way) / dot(a, a));
  const byEnd = times([-b[1], b[0]], degrees(way) / dot(b, b));
  const byCentre = [-(byStart[0] + byEnd[0]), -(byStart[1] + byEnd[1])];
  const slopes = { start: [byStart], end: [byEnd] };
  const also = { reach_px: Math.min(size(a), size(b)) };
  if (post.length) {
    slopes.post = byPost.map((by) =>
      by.map((centreBy) => byCentre[0] * centreBy[0] + byCentre[1] * centreBy[1]),
    );
    [also.centre_x, also.centre_y] = centre;
    const remarks = spannedDeg(post, centre) < SHORT_ARC_DEG ? ["short_arc"] : [];
    return reading(value, "deg", slopes, { remarks, also });
  }
  slopes.centre = [byCentre];
  const lift = (push) => {
    const apart = turnedAbout([centre[0] + push[0], centre[1] + push[1]]) - signed;
    return degrees(inTurn(apart + Math.PI) - Math.PI);
  };
  return reading(value, "deg", slopes, { also, apart: "centre", lift });
}

// The arc that points about a centre span: all but the widest gap between two of them.
function spannedDeg(points, centre) {
  const at = points
    .map((point) => degrees(Math.atan2(point[1] - centre[1], point[0] - centre[0])))
    .sort((a, b) => a - b);
  const gaps = at.map((here, n) => (n + 1 < at.length ? at[n + 1] : at[0] + 360) - here);
  return 360 - Math.max(...gaps);
}

// The post's centre, and by each point on its edge, for x and for y, how the centre changes.
function centreOf({ post, centre }) {
  if (!post.length) {
    if (!centre.length) throw new MarksRefused("too_few_marks");
    return { centre: centre[0], byPost: [] };
  }
  if (post.length < LEAST_POST) throw new MarksRefused("too_few_marks");
  refuseCoinciding(...post);
  try {
    const arc = fit(post);
    if (Math.abs(arc.theta[0]) < STRAIGHT) throw new NoCircle();
    const step = NUDGE * arc.reach;
    const at = (mark, axis, by) =>
      refit(
        post.map((point, n) =>
          n === mark ? point.map((one, i) => (i === axis ? one + by : one)) : point,
        ),
        arc,
      ).centre();
    const byPost = post.map((_point, n) =>
      [0, 1].map((axis) => times(minus(at(n, axis, step), at(n, axis, -step)), 0.5 / step)),
    );
    return { centre: arc.centre(), byPost };
  } catch (error) {
    throw unclear(error);
  }
}

function measureFill(points) {
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
  const byLevel = times(up, 100 / square);
  const byTop = [0, 1].map((i) => (100 * (out[i] - 2 * value * up[i])) / square);
  const byBottom = [-(byLevel[0] + byTop[0]), -(byLevel[1] + byTop[1])];
  return reading(100 * value, "percent", { bottom: [byBottom], top: [byTop], level: [byLevel] });
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
function slopesOf(sets, arc, of) {
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
  try {
    return sets.map((points, set) =>
      points.map((_point, mark) =>
        [0, 1].map((axis) => (at(set, mark, axis, step) - at(set, mark, axis, -step)) / (2 * step)),
      ),
    );
  } catch (error) {
    throw unclear(error);
  }
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
  const [byEdge] = slopesOf([marks], arc, of);
  const value = (side * Math.tan(edge.turn / 4)) / 2;
  return reading(value, "ratio", { edge: byEdge }, { remarks, also });
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
  const [byEdge, byBase] = slopesOf([marks, base], arc, of);
  if (![byEdge, byBase].flat(2).every(Number.isFinite)) throw new MarksRefused("edge_misses_base");
  [also.crossing_x, also.crossing_y] = arc.pixels(crossing);
  const inDegrees = (rows) => rows.map((row) => times(row, degrees(1)));
  const slopes = { edge: inDegrees(byEdge), base: inDegrees(byBase) };
  return reading(value, "deg", slopes, { remarks, also });
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
