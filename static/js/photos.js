// Photographs on a board's page: sent one after another with their progress, dropped on the
// page or on a joint. Without this script the form sends them all, and each photograph's own
// page says what it shows.

const section = document.querySelector("[data-photos]");
const form = section?.querySelector("[data-upload]");
const shapeOf = { wait: "#m-open", added: "#m-accept", refused: "#m-reject" };

const shape = (name) => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "shape");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", shapeOf[name]);
  svg.append(use);
  return svg;
};

// What the server draws is the only drawing there is: after a change the parts come anew.
let drawing = null;
let drawAgain = false;
const redraw = () => {
  drawAgain = true;
  drawing ??= (async () => {
    while (drawAgain) {
      drawAgain = false;
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
      if (!answer.ok) break;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const id of ["photo-groups", "photo-count", "board-joints"]) {
        const fresh = page.getElementById(id);
        if (fresh) document.getElementById(id)?.replaceWith(fresh);
      }
      letDrag();
    }
  })().finally(() => { drawing = null; });
  return drawing;
};

// Sending

const send = (file, line) => new Promise((resolve) => {
  const data = new FormData();
  for (const name of ["csrfmiddlewaretoken", "joint", "stage"]) {
    data.append(name, form.elements[name].value);
  }
  data.append("photos", file, file.name);
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.upload.addEventListener("progress", (event) => {
    if (event.lengthComputable) line.bar.value = event.loaded / event.total;
  });
  request.addEventListener("loadend", () => {
    let told = null;
    try {
      told = JSON.parse(request.responseText).photos[0];
    } catch {
      told = { added: false, says: `${file.name} ${form.dataset.failed}` };
    }
    resolve(told);
  });
  request.send(data);
});

const lineFor = (file, list) => {
  const item = document.createElement("li");
  const text = document.createElement("span");
  text.textContent = `${file.name}, ${form.dataset.sending}`;
  const frame = document.createElement("span");
  frame.className = "measure-bar";
  const bar = document.createElement("progress");
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute("aria-label", file.name);
  frame.append(bar);
  item.append(shape("wait"), text, frame);
  list.append(item);
  return { item, text, frame, bar };
};

let queue = Promise.resolve();
const sendAll = (files) => {
  const list = form.querySelector(".answers");
  if (!list.querySelector("progress")) list.replaceChildren();
  const lines = [...files].map((file) => [file, lineFor(file, list)]);
  for (const [file, line] of lines) {
    queue = queue.then(async () => {
      const told = await send(file, line);
      line.frame.remove();
      line.text.textContent = told.says;
      line.item.className = told.added ? "is-accept" : "is-reject";
      line.item.querySelector(".shape").replaceWith(shape(told.added ? "added" : "refused"));
      if (told.added) redraw();
    });
  }
};

const carriesFiles = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");

if (form) {
  form.querySelector("[type=submit]").hidden = true;
  form.querySelector(".drop-hint").hidden = false;
  for (const input of form.querySelectorAll("[type=file]")) {
    input.addEventListener("change", () => {
      sendAll(input.files);
      input.value = "";
    });
  }
  form.addEventListener("submit", (event) => event.preventDefault());
  section.addEventListener("dragover", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    section.classList.add("is-over");
  });
  section.addEventListener("dragleave", (event) => {
    if (!section.contains(event.relatedTarget)) section.classList.remove("is-over");
  });
  section.addEventListener("drop", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    section.classList.remove("is-over");
    sendAll(event.dataTransfer.files);
  });
}

// Dragging a photograph to the joint it shows

let moving = null;

const place = async (thumb, joint) => {
  const data = new FormData();
  data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  data.append("joint", joint);
  const headers = { Accept: "application/json" };
  let says = form.dataset.failed;
  try {
    const answer = await fetch(thumb.dataset.photo, { method: "POST", body: data, headers });
    says = (await answer.json()).says;
  } catch {
    // What is said is that it did not arrive.
  }
  const list = form.querySelector(".answers");
  list.replaceChildren();
  if (says) {
    const item = document.createElement("li");
    item.className = "is-reject";
    const text = document.createElement("span");
    text.textContent = says;
    item.append(shape("refused"), text);
    list.append(item);
  }
  await redraw();
};

const targetOf = (event) => (moving ? event.target.closest?.("[data-joint]") : null);

function letDrag() {
  for (const thumb of document.querySelectorAll(".thumb[data-photo]")) {
    thumb.draggable = true;
    thumb.addEventListener("dragstart", (event) => {
      moving = thumb;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", thumb.href);
      thumb.classList.add("is-moving");
    });
    thumb.addEventListener("dragend", () => {
      thumb.classList.remove("is-moving");
      moving = null;
    });
  }
}

if (form) {
  letDrag();
  document.addEventListener("dragover", (event) => {
    for (const marked of document.querySelectorAll(".is-target")) marked.classList.remove("is-target");
    const target = targetOf(event);
    if (!target || target.dataset.joint === moving.dataset.jointNow) return;
    event.preventDefault();
    target.classList.add("is-target");
  });
  document.addEventListener("drop", (event) => {
    const target = targetOf(event);
    if (!target) return;
    event.preventDefault();
    target.classList.remove("is-target");
    place(moving, target.dataset.joint);
  });
}
