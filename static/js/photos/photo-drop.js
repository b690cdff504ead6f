// Photographs on their way in: laid out by where each will go, which may be changed, then sent two
// at a time, each in a request of its own. A file that is here already is known by its SHA-256, so
// that what was sent and not answered is not stored twice, and a drop that broke off is dropped
// again as a whole.

import { shape } from "../lib/page.js";
import { uploadPhoto } from "../lib/photo-upload.js";
import { ofThisWindow } from "../lib/storage.js";
import { UploadQueue } from "../lib/upload-queue.js";
import { headThatTellsWhen } from "./exif-head.js";
import { LightTable } from "./light-table.js";
import { BOARD, BY_CLOCK, BY_NAMES_ORDER, MOST_A_JOINT, OUT, PhotoPlan } from "./photo-plan.js";
import { SignInAgain } from "./sign-in-again.js";
import { thumbnail } from "./thumbnails.js";

const AT_ONCE = 2;
const STALLS_AFTER_MS = 90_000; // with no byte gone and no answer
const HEAD_BYTES = 64; // what tells a format
const REDRAW_EVERY_MS = 2_500;
const FEW = 5; // so many that are here already are named one by one

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
const OPEN = new Set(["looking", "ready", "out", "unasked"]);
const UNDER_WAY = ["waiting", "sending", "checked"];

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

// The part of every name that says the same, such as IMG_, and the ending where all have one.
const alike = (names) => {
  const starts = new Set(names.map((name) => name.match(/^\D*/)[0]));
  const ends = new Set(names.map((name) => name.match(/(\.\w+)?$/)[0]));
  const [start] = starts;
  return {
    start: names.length > 1 && starts.size === 1 && start.length > 2 ? start : "",
    end: ends.size === 1 ? [...ends][0] : "",
  };
};

export function sendFrom(section, form, redraw) {
  const words = form.querySelector("[data-words]").dataset;
  const drop = form.querySelector("[data-drop]");
  const sum = form.querySelector("[data-sum]");
  const spread = form.querySelector("[data-spread]");
  const unsent = form.querySelector("[data-unsent]");
  const sendButton = form.querySelector("[data-send]");
  const clearButton = form.querySelector("[data-clear]");
  const askButton = form.querySelector("[data-ask]");
  const undoButton = form.querySelector("[data-undo]");
  const leftNotice = form.querySelector("[data-left]");
  const pattern = form.querySelector("[data-row]").content.firstElementChild;
  const leftKey = `photographs not arrived: ${form.action}`;
  const { joint: how, each, first, stage } = form.elements;
  const names = new Map([...form.querySelector("[data-to]").options].map((o) => [o.value, o.text]));
  const plan = new PhotoPlan([...first.options].map((option) => option.value));
  let rows = [];
  let remark = "";
  let remarkOnPlaces = ""; // what the last asking where they go had to say
  let remarkOnMove = "";
  let isHalted = false; // the connection broke
  let begun = false;
  let isAsking = false;
  let knowsClock = false; // whether all were asked when they were taken
  let hasChosenHow = false;

  const table = new LightTable(form.querySelector("[data-table]"), words, {
    moved: (moved, to) => {
      remarkOnMove = "";
      if (to === null) plan.putBack(moved);
      else plan.move(moved, to);
      replan();
    },
    shifted: (moved, by) => {
      remarkOnMove = { first: words.noEarlier, last: words.noLater, none: words.noJoint, "": "" }[
        plan.shift(moved, by)
      ];
      replan();
    },
  });
  const signIn = new SignInAgain(form.querySelector("[data-signed-out]"), form, () => {
    if (count("unasked")) foresee();
    if (isHalted && count("failed")) resume();
  });

  // The list

  const count = (...states) => rows.filter((row) => states.includes(row.state)).length;

  const become = (row, state, says = "") => {
    row.state = state;
    row.says = says;
    show(row);
    drawSoon();
    remember();
  };

  const show = (row) => {
    row.line.dataset.state = row.state;
    row.bar.parentElement.hidden = row.state !== "sending" && row.state !== "checked";
    row.bar.value = row.part;
    const remarks = {
      looking: words.looking,
      waiting: words.waiting,
      sending: `${Math.floor(100 * row.part)} %`,
      checked: words.checked,
      added: words.isAdded,
      here: words.isHere,
      failed: words.failed,
    };
    row.remark.textContent = remarks[row.state] ?? "";
  };

  // One drawing for all that changes in one go.
  let isDrawingDue = false;
  const drawSoon = () => {
    if (isDrawingDue) return;
    isDrawingDue = true;
    queueMicrotask(() => {
      isDrawingDue = false;
      draw();
    });
  };

  const isUnderWay = () => count(...UNDER_WAY) > 0;

  const draw = () => {
    fold();
    const sequence = plan.inSequence();
    const laid = rows
      .filter((row) => !row.isFolded && !row.isTaken && !["refused", "same"].includes(row.state))
      .sort((one, other) => sequence.indexOf(one) - sequence.indexOf(other));
    for (const row of laid) if (row.state === "unasked" || row.state === "looking") row.joint = "";
    table.draw(laid, { canMove: !isUnderWay() && laid.some((row) => OPEN.has(row.state)) });
    const namedAlike = alike(laid.map((row) => row.name));
    for (const row of laid) nameShort(row, namedAlike);
    undoButton.hidden = !plan.past.length || isUnderWay();
    for (const field of [how, each, first]) field.disabled = isUnderWay();
    drawUnsent();
    tally();
  };

  const nameShort = (row, { start, end }) => {
    const stop = end ? -end.length : undefined;
    const parts = [start, row.name.slice(start.length, stop), end];
    if (row.namedAs === parts.join("|")) return;
    row.namedAs = parts.join("|");
    row.nameField.replaceChildren(
      ...parts.map((part, at) => {
        const piece = document.createElement("span");
        if (at !== 1) piece.className = "visually-hidden";
        piece.textContent = part;
        return piece;
      }),
    );
  };

  // What has gone folds away once nothing is under way; what has not stays, with why.
  const fold = () => {
    if (!begun || isUnderWay() || isHalted) return;
    const isOver = !rows.some((row) => ["ready", "looking", "unasked"].includes(row.state));
    for (const row of rows) {
      if (["added", "here", "same"].includes(row.state)) row.isFolded = true;
      if (isOver && row.state === "out") row.isFolded = true;
    }
  };

  const drawUnsent = () => {
    const here = rows.filter((row) => row.state === "here");
    const told = rows.filter(
      (row) =>
        ["refused", "failed", "same"].includes(row.state) ||
        (row.isTaken && UNDER_WAY.includes(row.state)) ||
        (row.state === "here" && here.length <= FEW),
    );
    unsent.replaceChildren(...told.map(lineOf));
  };

  const lineOf = (row) => {
    const item = document.createElement("li");
    const [name, tone] = SHAPES[row.state] ?? ["open", ""];
    item.className = tone;
    item.dataset.row = row.name;
    item.dataset.state = row.state;
    const text = document.createElement("span");
    const where = row.isTaken ? `${names.get(row.joint)}: ` : "";
    text.textContent =
      where + (row.says || `${row.name}: ${row.remark.textContent || words.waiting}`);
    item.append(shape(name), text);
    if (row.state === "failed") {
      const again = document.createElement("button");
      again.type = "button";
      again.className = "btn btn-sm";
      again.textContent = words.again;
      again.addEventListener("click", () => {
        become(row, "waiting");
        goOn();
      });
      item.append(again);
    }
    return item;
  };

  const tally = () => {
    const toSend = count("ready", "looking", ...UNDER_WAY);
    const parts = [
      rows.length === 1 ? words.one : fillIn(words.many, rows.length),
      toSend && fillIn(words.toSend, toSend),
      count("added") && fillIn(words.added, count("added")),
      count("here", "same") && fillIn(words.here, count("here", "same")),
      count("refused") && fillIn(words.refused, count("refused")),
      count("failed") && fillIn(words.notArrived, count("failed")),
      count("out") && fillIn(words.leftOut, count("out")),
    ].filter(Boolean);
    const text = [
      `${parts.join(", ")}.`,
      isHalted && !signIn.isOut && words.broken,
      remark,
      remarkOnPlaces,
      problemOfEach() && words.badEach,
      remarkOnMove,
    ]
      .filter(Boolean)
      .join(" ");
    if (sum.textContent !== text) sum.textContent = text;
    const told = spreadInWords();
    if (spread.textContent !== told) spread.textContent = told;
    const pressable = count("ready", "failed") + (isHalted ? count("waiting") : 0);
    sendButton.textContent = pressable === 1 ? words.sendOne : fillIn(words.sendMany, pressable);
    sendButton.hidden = pressable === 0;
    sendButton.disabled = count("looking") > 0 || isAsking || problemOfEach();
    askButton.hidden = count("unasked") === 0;
    drop.hidden = rows.length === 0;
    // The page's own line says what was sent; this one goes on saying it to a screen reader.
    const isAllThere = rows.every((row) => row.isFolded && ["added", "out"].includes(row.state));
    drop.classList.toggle("visually-hidden", isAllThere);
    clearButton.hidden = isAllThere || count("sending", "checked") > 0;
    form.classList.toggle("is-taking", rows.length > 0 && rows.every((row) => row.isTaken));
    section.classList.toggle("is-planning", !form.querySelector("[data-table]").hidden);
  };

  // "2 to each of 18 joints; 1 to E06, E15; 1 with the whole board. 8.9 MB."
  const spreadInWords = () => {
    const going = rows.filter((row) => row.state === "ready");
    if (!going.length) return "";
    const many = new Map();
    for (const { joint } of going) many.set(joint, (many.get(joint) ?? 0) + 1);
    const onBoard = many.get(BOARD) ?? 0;
    many.delete(BOARD);
    const byMany = new Map();
    for (const [key, n] of many) byMany.set(n, [...(byMany.get(n) ?? []), names.get(key)]);
    const parts = [...byMany]
      .sort(([one], [other]) => other - one)
      .map(([n, joints]) =>
        joints.length > 3
          ? fillIn(words.toEach, n, joints.length)
          : fillIn(words.toThese, n, joints.join(", ")),
      );
    if (onBoard) parts.push(fillIn(words.toBoard, onBoard));
    const bytes = going.reduce((all, row) => all + row.file.size, 0);
    return `${parts.join("; ")}. ${size(bytes)}.`;
  };

  const lineFor = (file) => {
    const line = pattern.cloneNode(true);
    const row = {
      file,
      line,
      name: file.name,
      hash: "",
      joint: "",
      key: "", // what the site calls it once it is there
      named: null,
      counts: false,
      isForeseen: false,
      isTaken: false, // by the camera, for a joint that was tapped
      isFolded: false,
      unreadable: false,
      state: "looking",
      says: "",
      part: 0,
      sending: "",
      stage: "",
      tick: line.querySelector("input"),
      bar: line.querySelector("progress"),
      remark: line.querySelector(".drop-says"),
      nameField: line.querySelector(".drop-name"),
    };
    row.nameField.textContent = file.name;
    row.bar.setAttribute("aria-label", file.name);
    picture(row);
    return row;
  };

  const picture = async (row) => {
    const made = await thumbnail(row.file, { isWanted: () => rows.includes(row) });
    const frame = row.line.querySelector(".picture");
    if (made) frame.replaceChildren(made);
    else frame.classList.add("is-unseen");
  };

  const take = async (files) => {
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
    knowsClock = false;
    draw();
    for (const row of fresh) {
      try {
        row.hash = await sha256(row.file);
      } catch {
        row.unreadable = true;
        become(row, "refused", `${row.name}: ${words.unreadable}.`);
      }
    }
    await foresee();
  };

  // Taken now, of a joint that was tapped: there is nothing to plan, so it goes at once.
  const takeAt = (joint, files) => {
    leftNotice.hidden = true;
    if (rows.every((row) => DONE.has(row.state) || row.state === "out")) clear();
    for (const file of files) {
      const row = lineFor(file);
      Object.assign(row, { joint, isTaken: true, sending: newSending(), stage: stage.value });
      rows.push(row);
      become(row, "waiting");
    }
    goOn();
  };

  // What was taken back is laid out again where it stood, to be put right and sent anew; so is what
  // was sent with it and has not arrived.
  const cameBack = (keys, sending) => {
    const isBack = (row) =>
      keys.includes(row.key) || (row.state === "failed" && row.sending === sending);
    rows = rows.filter((row) => !(row.isTaken && isBack(row)));
    const back = rows.filter(isBack);
    for (const row of back) {
      Object.assign(row, { isFolded: false, key: "", part: 0 });
      become(row, "looking");
    }
    begun = false;
    if (!count("failed")) isHalted = false;
    replan();
  };

  const clear = () => {
    rows = [];
    remark = remarkOnPlaces = remarkOnMove = "";
    timesAsked += 1; // An answer that is still to come is about what is gone.
    isHalted = begun = isAsking = false;
    plan.bring([], {});
    plan.past = [];
    if (!hasChosenHow) {
      // What the last drop seemed to be says nothing of the next.
      how.value = how.options[0].value;
      each.value = 1;
      readHow();
      showOrder();
    }
    draw();
  };

  // Where each goes

  let timesAsked = 0;
  const ask = async (all, { clock }) => {
    const data = new FormData();
    data.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
    for (const row of all) {
      const head = clock ? await headThatTellsWhen(row.file) : row.file.slice(0, HEAD_BYTES);
      data.append("head", head, row.name);
      data.append("bytes", row.file.size);
      data.append("sha256", row.hash);
    }
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
    if (answer?.redirected || answer?.status === 403) signIn.ended();
    return {};
  };

  // Ask about every file once; how they are dealt is worked out here.
  const foresee = async () => {
    const mine = ++timesAsked;
    const all = rows.filter((row) => !row.unreadable && !row.isTaken);
    if (!all.length) return;
    isAsking = true;
    tally();
    let clock = plan.set.how === BY_CLOCK;
    let foreseen = await ask(all, { clock });
    if (mine !== timesAsked) return;
    if (foreseen.photos && !clock && !hasChosenHow) {
      bring(all, foreseen);
      const guess = plan.suggestion();
      if (guess) {
        ({ how: how.value, each: each.value } = guess);
        plan.set = { ...plan.set, ...guess };
        clock = true;
        foreseen = await ask(all, { clock });
        if (mine !== timesAsked) return;
      }
    }
    isAsking = false;
    showOrder();
    remarkOnPlaces = foreseen.says || (foreseen.photos || signIn.isOut ? "" : words.notAsked);
    if (foreseen.photos) {
      knowsClock = clock;
      bring(all, foreseen);
      if (clock) remarkOnPlaces = foreseen.orders[BY_CLOCK].says;
    } else {
      // Nobody has said where these go, and the whole board is no guess to make in silence.
      for (const row of all) if (OPEN.has(row.state)) row.isForeseen = false;
      plan.bring(
        all,
        plan.orders[BY_CLOCK] ? plan.orders : { [BY_CLOCK]: [], [BY_NAMES_ORDER]: all },
      );
    }
    replan();
  };

  const bring = (all, { photos, orders }) => {
    photos.forEach(({ state, named, says }, at) => {
      const row = all[at];
      row.counts = state === "goes" || state === "here";
      row.named = named ? String(named) : null;
      if (!OPEN.has(row.state)) return;
      row.isForeseen = true;
      if (state !== "goes") become(row, state, says);
    });
    const inOrder = ({ places }) => places.map((at) => all[at]);
    plan.bring(
      all,
      Object.fromEntries(Object.entries(orders).map(([name, order]) => [name, inOrder(order)])),
    );
  };

  const replan = () => {
    for (const [row, place] of plan.places()) {
      if (row.state === "here") row.joint = place;
      if (!OPEN.has(row.state)) continue;
      const isSaid = row.isForeseen || plan.moved.get(row)?.to;
      row.joint = place;
      if (!isSaid) become(row, "unasked");
      else become(row, place === OUT ? "out" : "ready");
    }
    drawSoon();
  };

  // Sending

  const send = async (row) => {
    row.part = 0;
    become(row, "sending");
    const came = await uploadPhoto({
      to: form.action,
      fields: { joint: row.joint, stage: row.stage, sending: row.sending },
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
      row.key = stored.key ?? "";
      become(row, stored.state, stored.says);
      if (stored.added) redrawSoon();
      return "";
    }
    const signedOut = status === 403 || (status === 200 && address !== form.action);
    let says = `${row.name}: ${words.failed}.`;
    if (answer?.says) ({ says } = answer);
    else if (signedOut) {
      says = `${row.name}: ${words.keptHere}.`;
      signIn.ended();
    } else if (status) says = `${row.name}: ${words.cannot}.`;
    isHalted = true;
    become(row, "failed", says);
    return "broken";
  };

  const queue = new UploadQueue({
    waiting: () => {
      const sequence = plan.inSequence();
      const waiting = rows.filter((row) => row.state === "waiting");
      return waiting.sort((one, other) => sequence.indexOf(one) - sequence.indexOf(other));
    },
    send,
    // Photographs of one joint follow each other, so that they stand in order.
    lane: (row) => (row.joint === BOARD ? null : row.joint),
    atOnce: AT_ONCE,
    changed: () => draw(),
  });

  const goOn = () => {
    isHalted = false;
    begun = true;
    queue.run();
    draw();
  };

  const newSending = () =>
    [...crypto.getRandomValues(new Uint8Array(16))]
      .map((byte) => byte.toString(16).padStart(2, "0"))
      .join("");

  const resume = () => {
    for (const row of rows) if (row.state === "failed") become(row, "waiting");
    goOn();
  };

  // What is sent is the plan as it stands on the page at this moment.
  const start = () => {
    const sending = newSending();
    for (const row of rows) {
      if (row.state === "ready") Object.assign(row, { sending, stage: stage.value });
      if (["ready", "failed"].includes(row.state)) become(row, "waiting");
    }
    plan.past = [];
    remarkOnMove = remarkOnPlaces = "";
    goOn();
  };

  let isRedrawDue = false;
  const redrawSoon = () => {
    if (isRedrawDue) return;
    isRedrawDue = true;
    setTimeout(
      () => {
        isRedrawDue = false;
        redraw();
      },
      isUnderWay() ? REDRAW_EVERY_MS : 0,
    );
  };

  // After a reload the files are out of reach; their names are kept to say which are missing.

  const remember = () => {
    if (!begun) return;
    const left = rows.filter((row) => !DONE.has(row.state) && row.state !== "out");
    ofThisWindow.setJson(leftKey, left.length ? left.map((row) => row.name) : null);
  };

  const remind = () => {
    const left = ofThisWindow.getJson(leftKey) ?? [];
    if (!left.length) return;
    leftNotice.querySelector("[data-left-count]").textContent =
      left.length === 1 ? words.one : fillIn(words.many, left.length);
    leftNotice.querySelector("[data-left-names]").textContent = left.join(", ");
    leftNotice.hidden = false;
  };

  // What is pressed, chosen, typed and dropped

  const problemOfEach = () => {
    const number = Number(each.value);
    return plan.isInOrder && !(Number.isInteger(number) && number >= 1 && number <= MOST_A_JOINT);
  };

  const showOrder = () => {
    for (const field of form.querySelectorAll("[data-in-order]")) field.hidden = !plan.isInOrder;
  };

  const readHow = () => {
    Object.assign(plan.set, { how: how.value, first: first.value });
    if (!problemOfEach() && each.value) plan.set.each = Number(each.value);
  };

  form.querySelector("[type=submit]").hidden = true;
  form.querySelector(".drop-hint").hidden = false;
  readHow();
  showOrder();
  remind();
  for (const input of form.querySelectorAll("[type=file]")) {
    input.addEventListener("change", () => {
      take([...input.files]);
      input.value = "";
    });
  }
  how.addEventListener("change", () => {
    hasChosenHow = true;
    plan.change("how", how.value);
    remarkOnPlaces = "";
    showOrder();
    if (rows.length && how.value === BY_CLOCK && !knowsClock) foresee();
    else replan();
  });
  each.addEventListener("input", () => {
    if (!problemOfEach()) plan.change("each", Number(each.value));
    replan();
  });
  first.addEventListener("change", () => {
    plan.change("first", first.value);
    replan();
  });
  undoButton.addEventListener("click", () => {
    plan.undo();
    remarkOnMove = "";
    ({ how: how.value, each: each.value, first: first.value } = plan.set);
    showOrder();
    replan();
  });
  sendButton.addEventListener("click", start);
  askButton.addEventListener("click", foresee);
  clearButton.addEventListener("click", () => {
    ofThisWindow.setJson(leftKey, null);
    clear();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("online", () => {
    if (count("unasked")) foresee();
    if (isHalted) resume();
  });
  window.addEventListener("beforeunload", (event) => {
    const locks = document.body.classList.contains("is-away");
    if (!locks && count("ready", "failed", ...UNDER_WAY)) event.preventDefault();
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
  return { takeAt, cameBack };
}
