// Before a signature: what this browser still has to send is no part of what is signed.

import { countUnsaved } from "./grading/judgement-queue.js";
import { findAll } from "./lib/page.js";

const notices = findAll("[data-queue]");
let wasUnsaved = false;

function look() {
  let unsaved = 0;
  for (const notice of notices) {
    const count = countUnsaved(notice.dataset.queue);
    notice.hidden = count === 0;
    unsaved += count;
  }
  if (unsaved === 0 && wasUnsaved) location.reload();
  wasUnsaved ||= unsaved > 0;
  for (const button of findAll("[data-when-saved]")) button.disabled ||= wasUnsaved;
}

if (notices.length) {
  look();
  window.addEventListener("storage", look);
  window.addEventListener("pageshow", look);
}
