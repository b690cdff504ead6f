// Before a signature: what this browser still has to send is no part of what is signed.

import { countUnsaved } from "./grading/judgement-queue.js";
import { find, findAll } from "./lib/page.js";

const notice = find("[data-queue]");
let wasUnsaved = false;

function look() {
  const unsaved = countUnsaved(notice.dataset.queue);
  notice.hidden = unsaved === 0;
  if (unsaved === 0 && wasUnsaved) location.reload();
  wasUnsaved ||= unsaved > 0;
  for (const button of findAll("[data-when-saved]")) button.disabled ||= wasUnsaved;
}

if (notice) {
  look();
  window.addEventListener("storage", look);
  window.addEventListener("pageshow", look);
}
