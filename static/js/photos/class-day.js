// The class of the day: the camera of a cell offers the board's joints, a joint opens the
// device's camera, and what was taken is sent to it at once. What does not arrive stays here
// until it does or is put away. Without this script the camera leads to the board's own page.

import { JudgementQueue, queuesOf } from "../grading/judgement-queue.js";
import { fetchPage, fill, find, shape } from "../lib/page.js";
import { uploadPhoto } from "../lib/photo-upload.js";
import { UploadQueue } from "../lib/upload-queue.js";

const tray = find("#sending");
const dialog = find("#camera");
const SHAPES = { added: "accept", here: "na", refused: "reject" };
const TONES = { added: "is-accept", here: "is-none", refused: "is-reject" };

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
    const page = await fetchPage(location.href, { part: true });
    if (!page) return;
    const fresh = page.getElementById("day");
    if (!fresh) return;
    find("#day").replaceWith(fresh);
    htmx.process(fresh);
  } catch {
    // The photograph arrived all the same; the next change draws its number.
  }
}

// Choosing the joint

function choose(link) {
  const { board, stage } = link.dataset;
  const known = JSON.parse(find("#photographed").textContent)[board];
  const heading = find("h2", dialog);
  const word = find(".narrow-stage", link.closest("td")).textContent.trim();
  heading.textContent = fill(heading.dataset.words, { who: known.who, board, stage: word });
  const list = find(".joint-tiles", dialog);
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

const unsent = new Set(); // in order; each has isWaiting until it is on its way

const queue = new UploadQueue({
  waiting: () => [...unsent].filter((line) => line.isWaiting),
  send: async (line) => {
    line.isWaiting = false;
    show(line, await send(line));
    return "";
  },
});

function take(taken) {
  const item = document.createElement("li");
  tray.append(item);
  enqueue({ ...taken, item });
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
  line.item.replaceChildren(shape("open"), text, frame);
  line.bar = bar;
  line.isWaiting = true;
  unsent.delete(line); // Sent again, it is the last.
  unsent.add(line);
  queue.run();
}

async function send({ board, joint, stage, file, bar }) {
  const { answer } = await uploadPhoto({
    to: `/boards/${encodeURIComponent(board)}/photos/`,
    fields: { joint, stage },
    file,
    progress: (part) => {
      bar.value = part;
    },
  });
  return answer?.photos?.[0] ?? { lost: answer?.says };
}

function show(line, outcome) {
  const text = document.createElement("span");
  const where = `${line.who}, ${line.board}, ${line.name}`;
  const away = button(tray.dataset.away, () => {
    unsent.delete(line);
    line.item.remove();
  });
  if (outcome.state) {
    // Here already: it had arrived, and only the answer was lost.
    unsent.delete(line);
    text.textContent = `${where}: ${outcome.says}`;
    line.item.className = TONES[outcome.state];
    line.item.replaceChildren(shape(SHAPES[outcome.state]), text, away);
    if (outcome.state !== "refused") redraw();
  } else {
    const lost = outcome.lost || `${line.file.name} ${tray.dataset.lost}`;
    const again = button(tray.dataset.again, () => enqueue(line));
    text.textContent = `${where}: ${lost}`;
    line.item.className = "is-caution";
    line.item.replaceChildren(shape("unsaved"), text, again, away);
  }
}

// What this reader judged and this browser could not send yet is sent from here too.
for (const name of queuesOf(tray.dataset.reader)) {
  new JudgementQueue(name, { heard: (what) => what === "saved" && redraw() }).send();
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
