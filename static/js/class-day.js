// The class of the day: the camera of a cell offers the board's joints, a joint opens the
// device's camera, and what was taken is sent to it at once. What does not arrive stays here
// until it does or is put away. Without this script the camera leads to the board's own page.

const $ = (selector, from = document) => from.querySelector(selector);
const tray = $("#sending");
const dialog = $("#camera");
const fill = (words, values) => words.replace(/\{(\w+)\}/g, (_all, name) => values[name]);
const token = () => JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];
const SHAPES = {
  wait: "#m-open", added: "#m-accept", here: "#m-na", refused: "#m-reject", lost: "#m-unsaved",
};
const TONES = { added: "is-accept", here: "is-none", refused: "is-reject" };

const shape = (name) => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "shape");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", SHAPES[name]);
  svg.append(use);
  return svg;
};

const button = (words, act) => {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "btn";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
};

// What the server draws is the only drawing there is: after a change it comes anew.
async function redraw() {
  try {
    const answer = await fetch(location.href, { headers: { "HX-Request": "true" } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("day");
    if (!fresh) return;
    $("#day").replaceWith(fresh);
    window.htmx.process(fresh);
  } catch {
    // The photograph arrived all the same; the next change draws its number.
  }
}

// Choosing the joint

function choose(link) {
  const { board, stage } = link.dataset;
  const known = JSON.parse($("#photographed").textContent)[board];
  const heading = $("h2", dialog);
  const word = link.closest("td").querySelector(".narrow-stage").textContent;
  heading.textContent = fill(heading.dataset.words, { who: known.who, board, stage: word });
  const list = $(".joint-tiles", dialog);
  const tile = (joint, name, kind = "") => {
    const item = document.createElement("li");
    item.className = kind;
    const label = document.createElement("label");
    label.className = "btn";
    label.append(name);
    const input = document.createElement("input");
    input.type = "file";
    input.accept = "image/*";
    input.setAttribute("capture", "environment");
    input.className = "visually-hidden";
    input.addEventListener("change", () => {
      dialog.close();
      for (const file of input.files) take({ file, board, joint, stage, name, who: known.who });
    });
    label.append(input);
    item.append(label);
    return item;
  };
  list.replaceChildren(
    ...known.joints.map(([joint, name]) => tile(joint, name)),
    tile("board", list.dataset.whole, "is-board"),
  );
  dialog.showModal();
}

// Sending, one after another; each keeps its file until it has arrived

let queue = Promise.resolve();
const unsent = new Set();

function take(taken) {
  const item = document.createElement("li");
  tray.append(item);
  const line = { ...taken, item };
  unsent.add(line);
  enqueue(line);
}

function enqueue(line) {
  const text = document.createElement("span");
  text.textContent = `${line.who}, ${line.board}, ${line.name}: ${tray.dataset.sending}`;
  const frame = document.createElement("span");
  frame.className = "measure-bar";
  const bar = document.createElement("progress");
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute("aria-label", `${line.board}, ${line.name}`);
  frame.append(bar);
  line.item.className = "";
  line.item.replaceChildren(shape("wait"), text, frame);
  queue = queue.then(async () => show(line, await send(line, bar)));
}

const send = (line, bar) => new Promise((resolve) => {
  const data = new FormData();
  data.append("joint", line.joint);
  data.append("stage", line.stage);
  data.append("photos", line.file, line.file.name);
  const request = new XMLHttpRequest();
  request.open("POST", `/boards/${encodeURIComponent(line.board)}/photos/`);
  request.setRequestHeader("Accept", "application/json");
  request.setRequestHeader("X-CSRFToken", token());
  request.upload.addEventListener("progress", (event) => {
    if (event.lengthComputable) bar.value = event.loaded / event.total;
  });
  request.addEventListener("loadend", () => {
    try {
      const { photos, says } = JSON.parse(request.responseText);
      resolve(photos?.[0] ?? { lost: says });
    } catch {
      resolve({}); // No answer, or another page's: nothing is known to be stored.
    }
  });
  request.send(data);
});

function show(line, told) {
  const text = document.createElement("span");
  const where = `${line.who}, ${line.board}, ${line.name}`;
  const away = button(tray.dataset.away, () => {
    unsent.delete(line);
    line.item.remove();
  });
  if (told.state) {
    // Here already: it had arrived, and only the answer was lost.
    document.dispatchEvent(new Event("arrived"));
    unsent.delete(line);
    text.textContent = `${where}: ${told.says}`;
    line.item.className = TONES[told.state];
    line.item.replaceChildren(shape(told.state), text, away);
    if (told.state !== "refused") redraw();
  } else {
    text.textContent = `${where}: ${told.lost || `${line.file.name} ${tray.dataset.lost}`}`;
    line.item.className = "is-caution";
    line.item.replaceChildren(shape("lost"), text, button(tray.dataset.again, () => enqueue(line)), away);
  }
}

// What this reader judged and this browser could not send yet is sent from here too.
for (const name of Object.keys(localStorage)) {
  if (!name.startsWith(`grading:${tray.dataset.reader}:`)) continue;
  new window.GradeQueue(name, { token, told: (what) => what === "saved" && redraw() }).send();
}

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a.take");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  choose(link);
});

// A photograph that has not arrived would be lost with the page, so the browser asks first; but
// not when a shared tablet locks, since nobody may be there.
window.addEventListener("beforeunload", (event) => {
  if (unsent.size && !document.body.classList.contains("is-away")) event.preventDefault();
});
