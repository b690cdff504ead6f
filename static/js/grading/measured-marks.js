// What was measured of the place on the grading screen, to judge by, and its marks drawn. The
// server draws it for the page as it comes; this follows the grader from there.

import { find, svgElement } from "../lib/page.js";

// data: what the server said of the board and the stage
export function showMeasured(data) {
  const block = find("#by-marks");
  const form = find("#judge");
  if (!block || !form) return;
  const {
    joint: { value: joint },
    criterion: { value: criterion },
    photo: { value: photo },
  } = form.elements;
  const measured = data.measured[joint]?.[criterion];
  const leftOut = data.left_out[joint]?.[criterion] ?? "";
  const isMeasurable = Boolean(data.criteria[criterion]?.quantity);
  block.hidden = !isMeasurable || !(photo || measured || leftOut);
  const link = find("a", block);
  link.hidden = !photo;
  if (photo) {
    link.href = `${data.photos[photo].measure}?${new URLSearchParams({ criterion, joint })}`;
  }
  const input = find("[name=by_marks]", block);
  find("label", block).hidden = !measured;
  input.disabled = !measured;
  input.value = measured?.id ?? "";
  input.checked = Boolean(measured);
  find("[data-says]", block).textContent = measured?.says ?? "";
  form.elements.measured_times.value = measured?.times ?? "";
  find("[data-left-out]", block).textContent = leftOut;
  find("[data-left-out]", block).hidden = !leftOut;
  find(".marks-shown")?.remove();
  const photograph = find(".stage .photograph");
  if (!measured || measured.photo !== photo || !photograph) return;
  const overlay = svgElement("svg", {
    class: "overlay marks-shown",
    viewBox: `0 0 ${data.photos[photo].wide} ${data.photos[photo].high}`,
    "aria-hidden": "true",
  });
  overlay.innerHTML = measured.drawn;
  photograph.after(overlay);
}
