// Photographs on their way in: listed with where each will go, which the server says and may be
// changed, then sent two at a time, each in a request of its own. A file that is here already is
// known by its SHA-256, so a drop that broke off is dropped again as a whole.

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

const fill = (words, ...values) => values.reduce((text, value) => text.replace("%s", value), words)
  .replaceAll("%%", "%");

const size = (bytes) => (bytes < 95_000
  ? `${Math.ceil(bytes / 1000)} kB`
  : `${(bytes / 1e6).toFixed(bytes < 9.95e6 ? 1 : 0)} MB`);

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
  let asking = ""; // what the last asking where they go had to say
  let going = false; // the button has been pressed
  let halted = false; // the connection broke
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
    const said = {
      looking: words.looking,
      waiting: words.waiting,
      sending: fill(words.sending, Math.floor(100 * row.part)),
      checked: words.checked,
      out: words.out,
      unasked: words.unasked,
    };
    row.said.textContent = row.says || said[row.state] || "";
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
      fill(words.many, rows.length),
      toSend && fill(words.toSend, toSend),
      count("added") && fill(words.added, count("added")),
      count("here", "same") && fill(words.here, count("here", "same")),
      count("refused") && fill(words.refused, count("refused")),
      count("failed") && fill(words.notArrived, count("failed")),
      count("out") && fill(words.leftOut, count("out")),
    ].filter(Boolean);
    const text = [`${parts.join(", ")}.`, halted && words.broken, remark, asking].filter(Boolean).join(" ");
    if (sum.textContent !== text) sum.textContent = text;
    const pressable = count("ready", "failed") + (halted || !going ? count("waiting") : 0);
    sendButton.textContent = pressable === 1 ? words.sendOne : fill(words.sendMany, pressable);
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
      said: line.querySelector(".drop-says"),
      retry: line.querySelector("button"),
    };
    line.querySelector(".drop-name").textContent = file.name;
    line.querySelector(".drop-size").textContent = size(file.size);
    row.select.setAttribute("aria-label", fill(words.goesTo, file.name));
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
    remark = over.length ? fill(words.tooMany, most, over.join(", ")) : "";
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
    remark = asking = "";
    asked += 1; // An answer that is still to come is about what is gone.
    going = halted = begun = false;
    list.replaceChildren();
    tally();
  };

  // Where each goes

  const inOrder = () => form.elements.joint.value.startsWith("in-order");

  let asked = 0;
  const ask = async (data) => {
    let answer;
    let told = null;
    try {
      answer = await fetch(form.dataset.foresee, {
        method: "POST",
        body: data,
        headers: { Accept: "application/json" },
        signal: AbortSignal.timeout?.(STALLS_AFTER_MS),
      });
      told = await answer.json();
    } catch {
      // No answer, or no answer of the site's.
    }
    if (told?.photos || told?.says) return told;
    return { says: answer?.redirected || answer?.status === 403 ? words.signedOut : "" };
  };

  const foresee = async () => {
    const mine = ++asked;
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
    const told = await ask(data);
    if (mine !== asked) return;
    const open = (row) => ["looking", "ready", "unasked"].includes(row.state);
    asking = told.says || (told.photos ? "" : words.notAsked);
    if (!told.photos) {
      // Nobody has said where these go, and the whole board is no guess to make in silence.
      for (const row of all) if (open(row) && !row.chosen) become(row, "unasked");
      tally();
      return;
    }
    told.photos.forEach(({ state, joint, says }, at) => {
      const row = all[at];
      if (!open(row)) return;
      if (!row.chosen) row.joint = joint ? String(joint) : "board";
      become(row, state === "goes" ? "ready" : state, says);
    });
    tally();
    if (all.some((row) => row.atOnce && row.state === "ready")) start();
  };

  // Sending

  const send = (row) => new Promise((resolve) => {
    const data = new FormData();
    data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
    data.append("joint", row.joint);
    data.append("stage", form.elements.stage.value);
    data.append("photos", row.file, row.name);
    const request = new XMLHttpRequest();
    let watch = 0;
    const alive = () => {
      clearTimeout(watch);
      watch = setTimeout(() => request.abort(), STALLS_AFTER_MS);
    };
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      alive();
      row.part = event.lengthComputable ? event.loaded / event.total : 0;
      show(row);
    });
    request.upload.addEventListener("load", () => {
      row.part = 1;
      become(row, "checked");
    });
    request.addEventListener("loadend", () => {
      clearTimeout(watch);
      let answer = null;
      try {
        answer = JSON.parse(request.responseText);
      } catch {
        // No answer of the site's: what is said below.
      }
      resolve([answer ?? {}, request]);
    });
    alive();
    request.send(data);
  });

  const settle = (row, { photos, says: refusal }, request) => {
    const told = photos?.[0];
    if (told) {
      document.dispatchEvent(new Event("arrived"));
      become(row, told.state, told.says);
      if (told.added) soon();
      return;
    }
    halted = true;
    const signedOut = request.status === 403
      || (request.status === 200 && request.responseURL !== form.action);
    let says = `${words.failed}.`;
    if (refusal) says = refusal;
    else if (signedOut) says = words.signedOut;
    else if (request.status) says = `${words.cannot}.`;
    become(row, "failed", says);
  };

  // Photographs of one joint follow each other, so that they stand in order.
  const next = () => {
    const busy = new Set(
      rows.filter((row) => ["sending", "checked"].includes(row.state)).map((row) => row.joint),
    );
    busy.delete("board");
    return rows.find((row) => row.state === "waiting" && !busy.has(row.joint));
  };

  const goOn = () => {
    halted = false;
    going = begun = true;
    while (!halted && count("sending", "checked") < AT_ONCE) {
      const row = next();
      if (!row) break;
      row.part = 0;
      become(row, "sending");
      send(row).then(([answer, request]) => {
        settle(row, answer, request);
        if (!halted) goOn();
        else tally();
      });
    }
    going = count("waiting", "sending", "checked") > 0;
    tally();
  };

  const start = () => {
    for (const row of rows) row.atOnce = false;
    for (const row of rows) if (["ready", "failed"].includes(row.state)) become(row, "waiting");
    goOn();
  };

  let drawn = 0;
  const soon = () => {
    drawn ||= setTimeout(() => {
      drawn = 0;
      redraw();
    }, count("waiting", "sending", "checked") ? REDRAW_EVERY_MS : 0);
  };

  // After a reload the files are out of reach; their names are kept to say which are missing.

  const remember = () => {
    if (!begun) return;
    const left = rows.filter((row) => !DONE.has(row.state) && row.state !== "out");
    try {
      if (left.length) {
        sessionStorage.setItem(leftKey, JSON.stringify(left.map((row) => row.name)));
      } else {
        sessionStorage.removeItem(leftKey);
      }
    } catch {
      // A browser that keeps nothing sends all the same.
    }
  };

  const remind = () => {
    let names = [];
    try {
      names = JSON.parse(sessionStorage.getItem(leftKey) ?? "[]");
    } catch {
      return;
    }
    if (!names.length) return;
    leftNotice.querySelector("[data-left-count]").textContent = fill(words.many, names.length);
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
    sessionStorage.removeItem(leftKey);
    clear();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("online", () => {
    if (count("unasked")) foresee();
    if (!halted) return;
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
