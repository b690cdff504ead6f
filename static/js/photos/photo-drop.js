// Photographs on their way in: listed with where each will go, which the server says and may be
// changed, then sent two at a time, each in a request of its own. A file that is here already is
// known by its SHA-256, so a drop that broke off is dropped again as a whole.

import { uploadPhoto } from "../lib/photo-upload.js";
import { ofThisWindow } from "../lib/storage.js";
import { UploadQueue } from "../lib/upload-queue.js";

const AT_ONCE = 2;
const STALLS_AFTER_MS = 90_000; // with no byte gone and no answer
const HEAD_BYTES = 64; // what tells a format
const EXIF_BYTES = 128 * 1024; // what tells when it was taken, as in assessments/imaging/__init__.py
const REDRAW_EVERY_MS = 2_500;

const SHAPES = {
  added: ["accept", "is-accept"],
  here: ["na", "is-none"],
  same: ["na", "is-none"],
  out: ["na", "is-none"],
  refused: ["reject", "is-reject"],
  failed: ["unsaved", "is-caution"],
  unasked: ["unknown", "is-caution"],
};
const DONE = new Set(["added", "here", "same", "refused"]);

// Words of the server's, with %s where a value goes.
const fillIn = (words, ...values) =>
  values.reduce((text, value) => text.replace("%s", value), words).replaceAll("%%", "%");

const size = (bytes) =>
  bytes < 95_000
    ? `${Math.ceil(bytes / 1000)} kB`
    : `${(bytes / 1e6).toFixed(bytes < 9.95e6 ? 1 : 0)} MB`;

// Only a page that came safely may hash; elsewhere the server recognises what has arrived.
const sha256 = async (file) => {
  if (!globalThis.crypto?.subtle) {
    await file.slice(0, HEAD_BYTES).arrayBuffer(); // Fails where the device cannot read it.
    return "";
  }
  const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
};

export function sendFrom(section, form, redraw) {
  const words = form.querySelector("[data-words]").dataset;
  const drop = form.querySelector("[data-drop]");
  const list = form.querySelector("[data-rows]");
  const sum = form.querySelector("[data-sum]");
  const sendButton = form.querySelector("[data-send]");
  const clearButton = form.querySelector("[data-clear]");
  const askButton = form.querySelector("[data-ask]");
  const leftNotice = form.querySelector("[data-left]");
  const pattern = form.querySelector("[data-row]").content.firstElementChild;
  const leftKey = `photographs not arrived: ${form.action}`;
  let rows = [];
  let remark = "";
  let remarkOnPlaces = ""; // what the last asking where they go had to say
  let isHalted = false; // the connection broke
  let begun = false;

  // The list

  const show = (row) => {
    const [name, tone] = SHAPES[row.state] ?? ["open", ""];
    row.line.dataset.state = row.state;
    row.line.className = `drop-row ${tone}`;
    row.line.querySelector("use").setAttribute("href", `#m-${name}`);
    const settled = !["ready", "out", "failed", "unasked"].includes(row.state);
    row.select.disabled = settled;
    row.select.hidden = DONE.has(row.state);
    row.select.value = { out: "out", unasked: "" }[row.state] ?? row.joint;
    row.bar.parentElement.hidden = row.state !== "sending" && row.state !== "checked";
    row.bar.value = row.part;
    row.retry.hidden = row.state !== "failed";
    const remarks = {
      looking: words.looking,
      waiting: words.waiting,
      sending: fillIn(words.sending, Math.floor(100 * row.part)),
      checked: words.checked,
      out: words.out,
      unasked: words.unasked,
    };
    row.remark.textContent = row.says || remarks[row.state] || "";
    tally();
  };

  const become = (row, state, says = "") => {
    row.state = state;
    row.says = says;
    show(row);
    remember();
  };

  const count = (...states) => rows.filter((row) => states.includes(row.state)).length;

  const tally = () => {
    const toSend = count("ready", "waiting", "sending", "checked", "looking");
    const parts = [
      fillIn(words.many, rows.length),
      toSend && fillIn(words.toSend, toSend),
      count("added") && fillIn(words.added, count("added")),
      count("here", "same") && fillIn(words.here, count("here", "same")),
      count("refused") && fillIn(words.refused, count("refused")),
      count("failed") && fillIn(words.notArrived, count("failed")),
      count("out") && fillIn(words.leftOut, count("out")),
    ].filter(Boolean);
    const text = [`${parts.join(", ")}.`, isHalted && words.broken, remark, remarkOnPlaces]
      .filter(Boolean)
      .join(" ");
    if (sum.textContent !== text) sum.textContent = text;
    const pressable = count("ready", "failed") + (isHalted ? count("waiting") : 0);
    sendButton.textContent = pressable === 1 ? words.sendOne : fillIn(words.sendMany, pressable);
    sendButton.hidden = pressable === 0;
    sendButton.disabled = count("looking") > 0;
    clearButton.hidden = count("sending", "checked") > 0;
    askButton.hidden = count("unasked") === 0;
    drop.hidden = rows.length === 0;
  };

  const lineFor = (file) => {
    const line = pattern.cloneNode(true);
    const row = {
      file,
      line,
      name: file.name,
      hash: "",
      joint: "board",
      chosen: false,
      atOnce: false,
      unreadable: false,
      state: "looking",
      says: "",
      part: 0,
      select: line.querySelector("select"),
      bar: line.querySelector("progress"),
      remark: line.querySelector(".drop-says"),
      retry: line.querySelector("button"),
    };
    line.querySelector(".drop-name").textContent = file.name;
    line.querySelector(".drop-size").textContent = size(file.size);
    row.select.setAttribute("aria-label", fillIn(words.goesTo, file.name));
    row.bar.setAttribute("aria-label", file.name);
    row.select.addEventListener("change", () => {
      row.chosen = true;
      if (row.select.value === "out") return become(row, "out");
      row.joint = row.select.value;
      return become(row, "ready");
    });
    row.retry.addEventListener("click", () => {
      become(row, "waiting");
      goOn();
    });
    list.append(line);
    return row;
  };

  const take = async (files, { atOnce = false } = {}) => {
    leftNotice.hidden = true;
    form.querySelector(".answers").replaceChildren();
    if (rows.every((row) => DONE.has(row.state) || row.state === "out")) clear();
    const most = Number(form.dataset.most);
    const room = Math.max(0, most - rows.length);
    const over = [...files].slice(room).map((file) => file.name);
    remark = over.length ? fillIn(words.tooMany, most, over.join(", ")) : "";
    const fresh = [...files].slice(0, room).map(lineFor);
    rows.push(...fresh);
    fresh.forEach(show);
    tally();
    for (const row of fresh) {
      try {
        row.hash = await sha256(row.file);
      } catch {
        row.unreadable = true;
        become(row, "refused", `${row.name}: ${words.unreadable}.`);
      }
      row.atOnce = atOnce;
    }
    await foresee();
  };

  const clear = () => {
    rows = [];
    remark = remarkOnPlaces = "";
    timesAsked += 1; // An answer that is still to come is about what is gone.
    isHalted = begun = false;
    list.replaceChildren();
    tally();
  };

  // Where each goes

  const inOrder = () => form.elements.joint.value.startsWith("in-order");

  let timesAsked = 0;
  const ask = async (data) => {
    let answer;
    let foreseen = null;
    try {
      answer = await fetch(form.dataset.foresee, {
        method: "POST",
        body: data,
        headers: { Accept: "application/json" },
        signal: AbortSignal.timeout?.(STALLS_AFTER_MS),
      });
      foreseen = await answer.json();
    } catch {
      // No answer, or no answer of the site's.
    }
    if (foreseen?.photos || foreseen?.says) return foreseen;
    return { says: answer?.redirected || answer?.status === 403 ? words.signedOut : "" };
  };

  const foresee = async () => {
    const mine = ++timesAsked;
    const all = rows.filter((row) => !row.unreadable);
    if (!all.length) return;
    const data = new FormData(form);
    data.delete("photos");
    const length = form.elements.joint.value === "in-order-taken" ? EXIF_BYTES : HEAD_BYTES;
    for (const row of all) {
      data.append("head", row.file.slice(0, length), row.name);
      data.append("bytes", row.file.size);
      data.append("sha256", row.hash);
    }
    const foreseen = await ask(data);
    if (mine !== timesAsked) return;
    const open = (row) => ["looking", "ready", "unasked"].includes(row.state);
    remarkOnPlaces = foreseen.says || (foreseen.photos ? "" : words.notAsked);
    if (!foreseen.photos) {
      // Nobody has said where these go, and the whole board is no guess to make in silence.
      for (const row of all) if (open(row) && !row.chosen) become(row, "unasked");
      tally();
      return;
    }
    foreseen.photos.forEach(({ state, joint, says }, at) => {
      const row = all[at];
      if (!open(row)) return;
      if (!row.chosen) row.joint = joint ? String(joint) : "board";
      become(row, state === "goes" ? "ready" : state, says);
    });
    tally();
    if (all.some((row) => row.atOnce && row.state === "ready")) start();
  };

  // Sending

  const send = async (row) => {
    row.part = 0;
    become(row, "sending");
    const came = await uploadPhoto({
      to: form.action,
      fields: { joint: row.joint, stage: form.elements.stage.value },
      file: row.file,
      stallsAfterMs: STALLS_AFTER_MS,
      progress: (part) => {
        row.part = part;
        show(row);
      },
      arrived: () => {
        row.part = 1;
        become(row, "checked");
      },
    });
    return settle(row, came);
  };

  // What became of it, or why the others have to wait.
  const settle = (row, { answer, status, address }) => {
    const stored = answer?.photos?.[0];
    if (stored) {
      become(row, stored.state, stored.says);
      if (stored.added) redrawSoon();
      return "";
    }
    const signedOut = status === 403 || (status === 200 && address !== form.action);
    let says = `${words.failed}.`;
    if (answer?.says) ({ says } = answer);
    else if (signedOut) says = words.signedOut;
    else if (status) says = `${words.cannot}.`;
    isHalted = true;
    become(row, "failed", says);
    return "broken";
  };

  const queue = new UploadQueue({
    waiting: () => rows.filter((row) => row.state === "waiting"),
    send,
    // Photographs of one joint follow each other, so that they stand in order.
    lane: (row) => (row.joint === "board" ? null : row.joint),
    atOnce: AT_ONCE,
    changed: () => tally(),
  });

  const goOn = () => {
    isHalted = false;
    begun = true;
    queue.run();
    tally();
  };

  const start = () => {
    for (const row of rows) row.atOnce = false;
    for (const row of rows) if (["ready", "failed"].includes(row.state)) become(row, "waiting");
    goOn();
  };

  let isRedrawDue = false;
  const redrawSoon = () => {
    if (isRedrawDue) return;
    isRedrawDue = true;
    const isMoreToCome = count("waiting", "sending", "checked") > 0;
    setTimeout(
      () => {
        isRedrawDue = false;
        redraw();
      },
      isMoreToCome ? REDRAW_EVERY_MS : 0,
    );
  };

  // After a reload the files are out of reach; their names are kept to say which are missing.

  const remember = () => {
    if (!begun) return;
    const left = rows.filter((row) => !DONE.has(row.state) && row.state !== "out");
    ofThisWindow.setJson(leftKey, left.length ? left.map((row) => row.name) : null);
  };

  const remind = () => {
    const names = ofThisWindow.getJson(leftKey) ?? [];
    if (!names.length) return;
    leftNotice.querySelector("[data-left-count]").textContent = fillIn(words.many, names.length);
    leftNotice.querySelector("[data-left-names]").textContent = names.join(", ");
    leftNotice.hidden = false;
  };

  // What is pressed, chosen and dropped

  const showOrder = () => {
    for (const field of form.querySelectorAll("[data-in-order]")) field.hidden = !inOrder();
  };

  form.querySelector("[type=submit]").hidden = true;
  form.querySelector(".drop-hint").hidden = false;
  showOrder();
  remind();
  for (const input of form.querySelectorAll("[type=file]")) {
    input.addEventListener("change", () => {
      // One that is taken now goes at once: it is of what is on the bench.
      take([...input.files], { atOnce: input.hasAttribute("capture") });
      input.value = "";
    });
  }
  for (const name of ["joint", "each", "first"]) {
    form.elements[name].addEventListener("change", () => {
      showOrder();
      for (const row of rows) if (row.state === "ready") row.chosen = false;
      foresee();
    });
  }
  sendButton.addEventListener("click", start);
  askButton.addEventListener("click", foresee);
  clearButton.addEventListener("click", () => {
    ofThisWindow.setJson(leftKey, null);
    clear();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("online", () => {
    if (count("unasked")) foresee();
    if (!isHalted) return;
    for (const row of rows) if (row.state === "failed") become(row, "waiting");
    goOn();
  });
  window.addEventListener("beforeunload", (event) => {
    const locks = document.body.classList.contains("is-away");
    if (!locks && count("waiting", "sending", "checked")) event.preventDefault();
  });

  const carriesFiles = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
  // Wherever on the page: beside the list the browser would open the file in the page's stead.
  document.addEventListener("dragover", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    section.classList.add("is-over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) section.classList.remove("is-over");
  });
  document.addEventListener("drop", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    section.classList.remove("is-over");
    take([...event.dataTransfer.files]);
  });
}
