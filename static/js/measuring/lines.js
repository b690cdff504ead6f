// The lines that marks make, as they are drawn while marks move; assessments/domain/marks_drawn.py
// draws what was kept in the same way.

const STEPS = 48;

const arcOf = (also) => {
  const [a, b, c] = ["first", "middle", "last"].map((one) => [also[`${one}_x`], also[`${one}_y`]]);
  const chord = Math.hypot(c[0] - a[0], c[1] - a[1]);
  const middle = [(a[0] + c[0]) / 2, (a[1] + c[1]) / 2];
  const rise = Math.hypot(b[0] - middle[0], b[1] - middle[1]);
  if (chord === 0 || rise < 1e-9 * chord) return [a, c];
  const up = [(b[0] - middle[0]) / rise, (b[1] - middle[1]) / rise];
  const radius = rise / 2 + chord ** 2 / (8 * rise);
  const centre = [b[0] - radius * up[0], b[1] - radius * up[1]];
  const half = Math.atan2(chord / 2, radius - rise);
  const way = [(c[0] - a[0]) / chord, (c[1] - a[1]) / chord];
  return Array.from({ length: STEPS + 1 }, (_one, step) => {
    const at = half * ((2 * step) / STEPS - 1);
    return [0, 1].map((i) => centre[i] + radius * (Math.cos(at) * up[i] + Math.sin(at) * way[i]));
  });
};

const LINES = {
  scale: ({ ends }) => [ends],
  length: ({ ends }) => [ends],
  clearance({ across, insulation: [from], joint: [to] }) {
    const q = [across[1][0] - across[0][0], across[1][1] - across[0][1]];
    const size = Math.hypot(...q);
    const ahead = [-q[1] / size, q[0] / size];
    const along = (to[0] - from[0]) * ahead[0] + (to[1] - from[1]) * ahead[1];
    const foot = [from[0] + along * ahead[0], from[1] + along * ahead[1]];
    return [across, [from, foot], [foot, to]];
  },
  wrap({ centre, start: [s], end: [e] }, value, options, also) {
    const c = "centre_x" in also ? [also.centre_x, also.centre_y] : centre[0];
    const way = options.winding === "anticlockwise" ? -1 : 1;
    const begin = Math.atan2(s[1] - c[1], s[0] - c[0]);
    const inner = Math.hypot(s[0] - c[0], s[1] - c[1]);
    const outer = Math.hypot(e[0] - c[0], e[1] - c[1]);
    const arc = Array.from({ length: STEPS + 1 }, (_one, step) => {
      const share = step / STEPS;
      const at = begin + (way * value * share * Math.PI) / 180;
      const radius = inner + (outer - inner) * share;
      return [c[0] + radius * Math.cos(at), c[1] + radius * Math.sin(at)];
    });
    return [arc, [c, s], [c, e]];
  },
  fillet: (_marks, _value, _options, also) => [
    arcOf(also),
    [
      [also.first_x, also.first_y],
      [also.last_x, also.last_y],
    ],
  ],
  wetting_angle: ({ base }, _value, _options, also) => [arcOf(also), base],
  fill({ bottom: [b], top: [t], level: [l] }, value) {
    const foot = [0, 1].map((i) => b[i] + ((t[i] - b[i]) * value) / 100);
    return [
      [b, t],
      [foot, l],
    ];
  },
};

export const linesOf = (quantity, marks, { value, also }, options) =>
  LINES[quantity](marks, value, options, also);
