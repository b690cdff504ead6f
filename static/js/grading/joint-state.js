// What a joint has come to by its judgements, and what of it is still open: the rules of
// assessments/domain/, for a page that goes on while no answer comes. One table of cases,
// tests/reference/joint_states/, tests both.

export const OPEN = "open";
export const NOT_APPLICABLE = "not_applicable";

// place: { joint, spare, codes }; judgements: by code; criteria: { minor, rest } by code
export function stateOf(place, judgements, criteria) {
  const judged = place.codes.filter((code) => judgements[code]);
  if (place.spare && !judged.length) return NOT_APPLICABLE;
  if (judged.length < place.codes.length) return OPEN;
  const rejected = judged.filter((code) => judgements[code].outcome === "reject");
  if (rejected.some((code) => !criteria[code].minor)) return "rejected";
  return rejected.length ? "accepted_with_remarks" : "accepted";
}

// What accepting the rest covers: nothing of the whole board, and of a joint what is neither
// judged nor wants a judgement of its own.
export const restOf = (place, judgements, criteria) =>
  place.joint ? place.codes.filter((code) => !judgements[code] && criteria[code].rest) : [];

// What is accepted by it: the rest, and the criterion on screen, which wants a measurement if it
// is measured and no reason was given to judge it by eye.
export function acceptedWithRest(place, judgements, criteria, shown, isByEye = false) {
  const codes = restOf(place, judgements, criteria);
  const isOpen = !judgements[shown] && !codes.includes(shown);
  if (isOpen && (isByEye || !criteria[shown].must_measure)) codes.push(shown);
  return codes;
}

export const firstOpen = (place, judgements) =>
  place.codes.find((code) => !judgements[code]) ?? place.codes[0];

// The next open criterion of a joint after one of them, round to its first.
export function nextOpen(place, judgements, after) {
  const at = place.codes.indexOf(after);
  const order = [...place.codes.slice(at + 1), ...place.codes.slice(0, at + 1)];
  return order.find((code) => !judgements[code]) ?? after;
}

// Lay changes over what is asked for where somebody could not tell: a judgement answers it.
export function applyAsked(changes, asked) {
  for (const { place, criterion, judged, asked: waits } of changes) {
    asked[place] ??= {};
    if (waits && !judged) asked[place][criterion] = waits;
    else delete asked[place][criterion];
  }
  return asked;
}

// Lay changes over what is judged: by place, by criterion.
export function apply(changes, judged) {
  for (const { place, criterion, judged: judgement } of changes) {
    judged[place] ??= {};
    if (judgement) judged[place][criterion] = judgement;
    else delete judged[place][criterion];
  }
  return judged;
}
