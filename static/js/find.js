// The search while somebody types: htmx asks and swaps; here are the keys, and what is said of it.

import { find, findAll } from "./lib/page.js";

for (const form of findAll("[data-find]")) {
  const found = document.getElementById(form.dataset.find);
  const field = find("input", form);
  const status = find("[role=status]", form);
  found.addEventListener("htmx:afterSwap", () => {
    status.textContent = find("[data-said]", found)?.dataset.said ?? "";
  });
  for (const kind of ["htmx:sendError", "htmx:responseError"]) {
    // Nothing was to be saved, so the notice of every page would say too much.
    form.addEventListener(kind, (event) => {
      event.stopPropagation();
      status.textContent = form.dataset.noAnswer;
    });
  }
  // Signed out meanwhile: the answer is another page, which is to be seen as one.
  found.addEventListener("htmx:beforeSwap", (event) => {
    const came = new URL(event.detail.xhr.responseURL);
    if (came.pathname === new URL(form.action).pathname) return;
    event.detail.shouldSwap = false;
    location.assign(form.action);
  });
  if (found.classList.contains("find-found")) chooseByKeys(form, field, found, status);
}

// A field with a list below it, after the pattern of a combobox: the field keeps the focus.
function chooseByKeys(form, field, found, status) {
  let chosen = null;

  field.setAttribute("role", "combobox");
  field.setAttribute("aria-autocomplete", "list");
  field.setAttribute("aria-haspopup", "listbox");
  field.setAttribute("aria-expanded", "false");

  function choose(option) {
    chosen?.setAttribute("aria-selected", "false");
    chosen = option;
    if (!option) {
      field.removeAttribute("aria-activedescendant");
      return;
    }
    option.setAttribute("aria-selected", "true");
    option.scrollIntoView({ block: "nearest" });
    field.setAttribute("aria-activedescendant", option.id);
  }

  function show(open) {
    choose(null);
    const list = find("[role=listbox]", found);
    found.hidden = !open || !found.firstElementChild;
    field.setAttribute("aria-expanded", String(!found.hidden && list !== null));
    if (list && !found.hidden) field.setAttribute("aria-controls", list.id);
    else field.removeAttribute("aria-controls");
  }

  function clear() {
    found.replaceChildren();
    status.textContent = "";
    show(false);
  }

  // What stands there answers what was typed before: no key may open it any more.
  field.addEventListener("input", () => {
    if (field.value.trim()) choose(null);
    else clear();
  });
  found.addEventListener("htmx:afterSwap", () => {
    if (field.value.trim()) show(form.contains(document.activeElement));
    else clear();
  });

  field.addEventListener("keydown", (event) => {
    if (event.isComposing) return;
    const options = findAll("[role=option]", found);
    if (event.key === "Escape" && !found.hidden) {
      event.preventDefault();
      show(false);
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && options.length) {
      event.preventDefault();
      if (found.hidden) show(true);
      const step = event.key === "ArrowDown" ? 1 : -1;
      // One place more than there are options: the field itself, with none of them chosen.
      const places = options.length + 1;
      const at = chosen ? options.indexOf(chosen) : options.length;
      choose(options[(at + step + places) % places] ?? null);
    } else if (event.key === "Enter" && chosen && !found.hidden) {
      event.preventDefault();
      chosen.click();
    }
  });

  // A press on an option leaves the focus in the field, so that the list stays until the click.
  found.addEventListener("mousedown", (event) => event.preventDefault());
  form.addEventListener("focusout", (event) => {
    if (!form.contains(event.relatedTarget)) show(false);
  });
  field.addEventListener("focus", () => {
    if (field.value.trim() && found.firstElementChild) show(true);
  });
}
