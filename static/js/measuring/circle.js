// The circle, or the straight line, that lies nearest to marks on an edge: the same method as
// assessments/domain/circle.py, step for step, in plain numbers. One table of cases holds both.

const STEPS = 200;
const LAST_STEPS = 25;
const NEAR = 1e-6;
const DONE = 1e-13;

export class NoCircle extends Error {}

const dot = (a, b) => a[0] * b[0] + a[1] * b[1];
const size = (a) => Math.hypot(a[0], a[1]);

export class Arc {
  constructor(theta, origin, reach) {
    this.theta = theta;
    this.origin = origin;
    this.reach = reach;
  }

  local(point) {
    return [(point[0] - this.origin[0]) / this.reach, (point[1] - this.origin[1]) / this.reach];
  }

  pixels(x) {
    return [x[0] * this.reach + this.origin[0], x[1] * this.reach + this.origin[1]];
  }

  // In pixels; not finite for a straight line.
  centre() {
    const [kappa, phi, d] = this.theta;
    const out = -(1 + kappa * d) / kappa;
    return this.pixels([out * Math.cos(phi), out * Math.sin(phi)]);
  }

  level(x) {
    const [kappa, phi, d] = this.theta;
    const along = Math.cos(phi) * x[0] + Math.sin(phi) * x[1];
    return (kappa * dot(x, x)) / 2 + (1 + kappa * d) * along + (kappa * d * d) / 2 + d;
  }

  slope(x) {
    const [kappa, phi, d] = this.theta;
    const stretch = 1 + kappa * d;
    return [kappa * x[0] + stretch * Math.cos(phi), kappa * x[1] + stretch * Math.sin(phi)];
  }

  normal(x) {
    const slope = this.slope(x);
    const long = size(slope);
    return [slope[0] / long, slope[1] / long];
  }

  distance(x) {
    const level = this.level(x);
    return (2 * level) / (1 + Math.sqrt(Math.max(1 + 2 * this.theta[0] * level, 0)));
  }

  foot(x) {
    const distance = this.distance(x);
    const normal = this.normal(x);
    return [x[0] - distance * normal[0], x[1] - distance * normal[1]];
  }
}

export function fit(points) {
  const origin = points[Math.floor(points.length / 2)];
  const away = points.map((one) => [one[0] - origin[0], one[1] - origin[1]]);
  const reach = Math.max(...away.map(size));
  const x = away.map((one) => [one[0] / reach, one[1] / reach]);
  const theta = descend(x, through(x[0], x[x.length - 1]));
  return new Arc(settle(x, theta), origin, reach);
}

// Fit marks that were moved very little from those of another fit.
export function refit(points, near) {
  const x = points.map((one) => near.local(one));
  return new Arc(settle(x, near.theta), near.origin, near.reach);
}

function through(first, last) {
  const a = dot(first, first) / 2;
  const b = dot(last, last) / 2;
  const kappa = first[0] * last[1] - first[1] * last[0];
  const normal = [first[1] * b - a * last[1], a * last[0] - first[0] * b];
  const long = size(normal);
  if (!(long > 0)) throw new NoCircle();
  return [kappa / long, Math.atan2(normal[1], normal[0]), 0];
}

// Of every mark: its distance, and the first and second derivatives of that by theta.
function terms(x, [kappa, phi, d]) {
  const c = Math.cos(phi);
  const s = Math.sin(phi);
  const stretch = 1 + kappa * d;
  return x.map((one) => {
    const along = c * one[0] + s * one[1];
    const aside = -s * one[0] + c * one[1];
    const square = dot(one, one);
    const level = (kappa * square) / 2 + stretch * along + (kappa * d * d) / 2 + d;
    const root = Math.sqrt(Math.max(1 + 2 * kappa * level, 1e-12));
    const delta = (2 * level) / (1 + root);
    const byKappa = square / 2 + d * along + (d * d) / 2 - (delta * delta) / 2;
    const first = [byKappa, stretch * aside, kappa * along + stretch].map((one_) => one_ / root);
    const second = first.map((a) => first.map((b) => -kappa * a * b));
    for (let i = 0; i < 3; i += 1) {
      second[0][i] -= delta * first[i];
      second[i][0] -= delta * first[i];
    }
    const mixed = [
      [0, 1, d * aside],
      [0, 2, along + d],
      [1, 2, kappa * aside],
    ];
    for (const [i, j, entry] of mixed) {
      second[i][j] += entry;
      second[j][i] += entry;
    }
    second[1][1] -= stretch * along;
    second[2][2] += kappa;
    return { delta, first, second: second.map((row) => row.map((entry) => entry / root)) };
  });
}

const squares = (found) => found.reduce((sum, one) => sum + one.delta * one.delta, 0);

function descend(x, start) {
  let theta = start;
  let damping = 1e-3;
  let here = terms(x, theta);
  for (let step = 0; step < STEPS; step += 1) {
    const normal = [
      [0, 0, 0],
      [0, 0, 0],
      [0, 0, 0],
    ];
    const right = [0, 0, 0];
    for (const { delta, first } of here) {
      for (let i = 0; i < 3; i += 1) {
        right[i] -= first[i] * delta;
        for (let j = 0; j < 3; j += 1) normal[i][j] += first[i] * first[j];
      }
    }
    for (let i = 0; i < 3; i += 1) normal[i][i] += damping * (normal[i][i] + 1e-12);
    const move = solve(normal, right);
    const ahead = theta.map((one, i) => one + move[i]);
    const there = terms(x, ahead);
    if (squares(there) <= squares(here)) {
      theta = ahead;
      here = there;
      damping = Math.max(damping / 10, 1e-12);
      if (Math.max(...move.map(Math.abs)) < NEAR) break;
    } else {
      damping *= 10;
      if (damping > 1e12) break;
    }
  }
  return theta;
}

function settle(x, start) {
  let theta = start;
  let largest = Infinity;
  for (let step = 0; step < LAST_STEPS; step += 1) {
    const bend = [
      [0, 0, 0],
      [0, 0, 0],
      [0, 0, 0],
    ];
    const right = [0, 0, 0];
    for (const { delta, first, second } of terms(x, theta)) {
      for (let i = 0; i < 3; i += 1) {
        right[i] -= first[i] * delta;
        for (let j = 0; j < 3; j += 1) bend[i][j] += first[i] * first[j] + delta * second[i][j];
      }
    }
    const move = solve(bend, right);
    theta = theta.map((one, i) => one + move[i]);
    largest = Math.max(...move.map(Math.abs));
    if (!Number.isFinite(largest) || largest > 1e3) throw new NoCircle();
    if (largest < DONE) return theta;
  }
  if (largest > 1e-9) throw new NoCircle();
  return theta;
}

// Three equations by elimination with the largest pivot.
function solve(matrix, right) {
  const rows = matrix.map((row, i) => [...row, right[i]]);
  for (let i = 0; i < 3; i += 1) {
    let best = i;
    for (let k = i + 1; k < 3; k += 1) {
      if (Math.abs(rows[k][i]) > Math.abs(rows[best][i])) best = k;
    }
    [rows[i], rows[best]] = [rows[best], rows[i]];
    if (rows[i][i] === 0) throw new NoCircle();
    for (let k = i + 1; k < 3; k += 1) {
      const share = rows[k][i] / rows[i][i];
      for (let j = i; j < 4; j += 1) rows[k][j] -= share * rows[i][j];
    }
  }
  const found = [0, 0, 0];
  for (let i = 2; i >= 0; i -= 1) {
    let rest = rows[i][3];
    for (let j = i + 1; j < 3; j += 1) rest -= rows[i][j] * found[j];
    found[i] = rest / rows[i][i];
  }
  return found;
}
