// On the grading screen: what was measured of the place shown, to judge by, and its marks drawn.
// The server draws it for the page as it comes; this follows the grader from there.

const space = "http://www.w3.org/2000/svg";
const find = (selector) => document.querySelector(selector);

let source = null;
let told = null;

function follow() {
  const block = find("#by-marks");
  const form = find("#judge");
  const data = find("#told");
  if (!block || !form || !data) return;
  if (data !== source) [source, told] = [data, JSON.parse(data.textContent)];
  const { joint: { value: joint }, criterion: { value: criterion }, photo: { value: photo } } = form.elements;
  const found = told.measured[joint]?.[criterion];
  const measurable = Boolean(told.criteria[criterion]?.quantity);
  block.hidden = !measurable || !(photo || found);
  const link = block.querySelector("a");
  link.hidden = !photo;
  if (photo) link.href = `${told.photos[photo].measure}?${new URLSearchParams({ criterion, joint })}`;
  const label = block.querySelector("label");
  const input = block.querySelector("input");
  label.hidden = !found;
  input.disabled = !found;
  input.value = found?.id ?? "";
  input.checked = Boolean(found);
  block.querySelector("[data-says]").textContent = found?.says ?? "";
  find(".marks-shown")?.remove();
  const photograph = find(".stage .photograph");
  if (!found || found.photo !== photo || !photograph) return;
  const overlay = document.createElementNS(space, "svg");
  overlay.setAttribute("class", "overlay marks-shown");
  overlay.setAttribute("viewBox", `0 0 ${told.photos[photo].wide} ${told.photos[photo].high}`);
  overlay.setAttribute("aria-hidden", "true");
  overlay.innerHTML = found.drawn;
  photograph.after(overlay);
}

document.addEventListener("desk:drawn", follow);
