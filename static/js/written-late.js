// A paper that has ended while this device still had answers to send: they go now, as late ones.

import { JudgementQueue } from "./grading/judgement-queue.js";
import { fill, find } from "./lib/page.js";

const page = find("#written-late");
const { reader, paper, waiting } = page.dataset;
const had = () => new Set(queue.items.map((item) => item.act.order)).size;

const queue = new JudgementQueue(`written-test:${reader}:${paper}`, {
  heard(what, item) {
    if (what === "refused") queue.dismiss(item.key);
    if (what !== "changed" && !queue.items.length) location.reload();
    show();
  },
});

function show() {
  page.hidden = !had();
  find("p", page).textContent = fill(waiting, { n: had() });
}

show();
queue.send();
