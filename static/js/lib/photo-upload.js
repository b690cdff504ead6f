// One photograph on its way to a board, in a request of its own: fetch says nothing of how far it is.

import { csrfToken } from "./page.js";

const noted = () => {};

// Resolves to { answer, status, address }: the site's own answer, or null where none came.
export function uploadPhoto({
  to,
  fields,
  file,
  stallsAfterMs = 0,
  progress = noted,
  arrived = noted,
}) {
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
      resolve({ answer, status: request.status, address: request.responseURL });
    });
    alive();
    request.send(data);
  });
}
