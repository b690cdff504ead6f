// One photograph on its way to a board, in a request of its own: fetch says nothing of how far it is.

import { csrfToken } from "./page.js";

const noted = () => {};
const BUSY = 503;
const MOST_TRIES = 30;

// Resolves to { answer, status, address }: the site's own answer, or null where none came.
// A site that looks at other large photographs says when to send this one again.
export async function uploadPhoto(photograph) {
  for (let tries = 1; ; tries += 1) {
    const { againAfterS, ...came } = await sendPhoto(photograph);
    if (came.status !== BUSY || !againAfterS || tries === MOST_TRIES) return came;
    await new Promise((resolve) => setTimeout(resolve, 1000 * againAfterS));
  }
}

function sendPhoto({ to, fields, file, stallsAfterMs = 0, progress = noted, arrived = noted }) {
  return new Promise((resolve) => {
    const data = new FormData();
    for (const [name, value] of Object.entries(fields)) data.append(name, value);
    data.append("photos", file, file.name);
    const request = new XMLHttpRequest();
    let watch = 0;
    const alive = () => {
      clearTimeout(watch);
      if (stallsAfterMs) watch = setTimeout(() => request.abort(), stallsAfterMs);
    };
    request.open("POST", to);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-CSRFToken", csrfToken());
    request.upload.addEventListener("progress", (event) => {
      alive();
      progress(event.lengthComputable ? event.loaded / event.total : 0);
    });
    request.upload.addEventListener("load", () => arrived());
    request.addEventListener("loadend", () => {
      clearTimeout(watch);
      let answer = null;
      try {
        answer = JSON.parse(request.responseText);
      } catch {
        // No answer, or another page's: nothing is known to be stored.
      }
      // A shared tablet counts it as somebody's work.
      if (answer?.photos?.[0]) document.dispatchEvent(new Event("photograph:stored"));
      resolve({
        answer,
        status: request.status,
        address: request.responseURL,
        againAfterS: Number(request.getResponseHeader("Retry-After")) || 0,
      });
    });
    alive();
    request.send(data);
  });
}
