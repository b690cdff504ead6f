// What scripts of several pages need of the page they are on.

export const find = (selector, from = document) => from.querySelector(selector);

export const findAll = (selector, from = document) => [...from.querySelectorAll(selector)];

// The token that Django asks of every request that changes something; it stands in the page once.
export const csrfToken = () => JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];

// Words of the server's with {names} in them.
export const fill = (words, values) => words.replace(/\{(\w+)\}/g, (_all, name) => values[name]);

const SVG = "http://www.w3.org/2000/svg";

export function svgElement(name, attributes = {}, parent = null) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent?.append(made);
  return made;
}

// One of the shapes that every page carries, by its name there.
export function shape(name) {
  const svg = svgElement("svg", { class: "shape", "aria-hidden": "true" });
  svgElement("use", { href: `#m-${name}` }, svg);
  return svg;
}

export const asPage = (text) => new DOMParser().parseFromString(text, "text/html");

// A page of the server's, or the part of it that it draws for htmx; null where none came.
export async function fetchPage(address, { part = false } = {}) {
  const headers = part ? { "HX-Request": "true" } : { Accept: "text/html" };
  const answer = await fetch(address, { headers });
  return answer.ok && !answer.redirected ? asPage(await answer.text()) : null;
}
