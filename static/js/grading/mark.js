// A click on the photograph marks the place that the next judgement speaks of.

import { find, svgElement } from "../lib/page.js";

// Where a click falls on a picture that is shown whole within a box, in pixels of the picture;
// null beside it.
export function pointIn(box, { wide, high }, { clientX, clientY }) {
  const scale = Math.min(box.width / wide, box.height / high);
  const x = (clientX - box.left - (box.width - wide * scale) / 2) / scale;
  const y = (clientY - box.top - (box.height - high * scale) / 2) / scale;
  return x < 0 || y < 0 || x > wide || y > high ? null : { x, y };
}

const sizeOf = (photograph) => ({
  wide: Number(photograph.getAttribute("width")),
  high: Number(photograph.getAttribute("height")),
});

export function setMark(event) {
  const photograph = event.target.closest?.(".photograph");
  const form = find("#judge");
  if (!photograph || !form) return;
  const at = pointIn(photograph.getBoundingClientRect(), sizeOf(photograph), event);
  if (!at) return;
  form.elements.mark_x.value = at.x.toFixed(1);
  form.elements.mark_y.value = at.y.toFixed(1);
  drawRings(photograph, at);
}

export function clearMark() {
  const form = find("#judge");
  if (!form?.elements.mark_x.value) return;
  form.elements.mark_x.value = "";
  form.elements.mark_y.value = "";
  find(".mark-kept")?.remove();
}

// The mark that stands in the form, on a photograph that was drawn anew.
export function drawMark() {
  const photograph = find(".photograph");
  const form = find("#judge");
  if (!photograph || !form?.elements.mark_x.value || find(".mark-kept")) return;
  drawRings(photograph, { x: form.elements.mark_x.value, y: form.elements.mark_y.value });
}

function drawRings(photograph, { x, y }) {
  find(".mark-kept")?.remove();
  const { wide, high } = sizeOf(photograph);
  const overlay = svgElement("svg", {
    class: "overlay mark-kept",
    viewBox: `0 0 ${wide} ${high}`,
    "aria-hidden": "true",
  });
  for (const kind of ["halo", "line"]) {
    svgElement("circle", { class: kind, cx: x, cy: y, r: "3%" }, overlay);
  }
  photograph.after(overlay);
}
