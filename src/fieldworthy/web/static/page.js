// What the page does in the browser: passes on what a person does, and puts in place what the server sends.
"use strict";
const fw = (() => {
  const byId = (id) => document.getElementById(id);
  let pending = null; // a change that waits whether another follows
  function tell(what, data = {}) {
    if (what === "do" || what === "go") flush();
    emitEvent("fw", { what, ...data });
  }
  function flush() {
    const send = pending;
    pending = null;
    clearTimeout(settle);
    if (send) send();
  }

  // ---- putting content in place, with focus and open details kept ----
  function focusOf(element) {
    const at = document.activeElement;
    return at && element.contains(at) ? at.dataset.key || at.id || null : null;
  }
  function giveBack(element, key) {
    if (!key) return;
    const at = [...element.querySelectorAll("[data-key],[id]")].find((e) => e.dataset.key === key || e.id === key);
    if (at) at.focus({ preventScroll: true });
  }
  function put(id, html) {
    const element = byId(id);
    if (!element) return;
    const key = focusOf(element);
    const open = [...element.querySelectorAll("details[open] > summary[data-key]")].map((e) => e.dataset.key);
    const ticks = new Map([...element.querySelectorAll("input[data-kept]")].map((e) => [e.dataset.kept, e.checked]));
    element.innerHTML = html;
    keepEdits(element);
    for (const box of element.querySelectorAll("input[data-kept]")) box.checked = ticks.get(box.dataset.kept) ?? box.checked;
    for (const summary of element.querySelectorAll("details > summary[data-key]"))
      if (open.includes(summary.dataset.key)) summary.parentElement.open = true;
    giveBack(element, key);
    // on a phone the list of views is one line to scroll: the view that is open is in sight
    if (id === "fw-views") element.querySelector('[aria-current="page"]')?.scrollIntoView({ block: "nearest", inline: "center" });
  }
  function node(html) {
    const template = document.createElement("template");
    template.innerHTML = html.trim();
    return template.content.firstElementChild;
  }
  function rowsOf(list) {
    return new Map([...list.children].filter((e) => e.dataset.row).map((e) => [e.dataset.row, e]));
  }
  // `changed` holds the rows that are new or different; `order` all that shall stand there
  function rows(id, order, changed) {
    const list = byId(id);
    if (!list) return;
    const key = focusOf(list);
    const have = rowsOf(list);
    for (const [row, html] of changed) {
      const old = have.get(row);
      if (old && isEdited(old)) {
        held.set(old, html);
        continue;
      }
      const fresh = node(html);
      if (old) {
        keepOpen(old, fresh);
        old.replaceWith(fresh);
      }
      have.set(row, fresh);
    }
    let at = list.firstElementChild;
    for (const row of order) {
      const element = have.get(row);
      have.delete(row);
      if (!element) continue;
      if (element === at) at = at.nextElementSibling;
      else list.insertBefore(element, at);
    }
    for (const gone of have.values()) gone.remove();
    giveBack(list, key);
  }
  // What a person has put into a box is newer than whatever the server draws until the server says that it has taken
  // it in: the row stays as it is, and what was drawn meanwhile is shown afterwards.
  const edits = new Map(); // by the box's id: the number of its last edit, and of the last one that was sent
  const held = new Map(); // by the row: how it looks afterwards
  let edit = 0;
  function edited(input) {
    if (input.dataset.path && input.id) edits.set(input.id, { last: (edit += 1), sent: edits.get(input.id)?.sent || 0, value: input.value });
  }
  function isEdited(row) {
    return [...edits.keys()].some((id) => row.querySelector(`#${CSS.escape(id)}`));
  }
  function keepEdits(element) {
    for (const [id, { value }] of edits) {
      const box = element.querySelector(`#${CSS.escape(id)}`);
      if (box) box.value = value;
    }
  }
  function settled(id, number) {
    if (edits.get(id)?.last === number) letGo(id);
  }
  function letGo(id) {
    edits.delete(id);
    for (const [row, html] of [...held]) {
      if (isEdited(row)) continue;
      held.delete(row);
      if (!row.isConnected) continue;
      const key = focusOf(row);
      const fresh = node(html);
      keepOpen(row, fresh);
      row.replaceWith(fresh);
      giveBack(fresh, key);
    }
  }
  function keepOpen(old, fresh) {
    const was = old.querySelector("details[open]");
    const now = fresh.querySelector("details");
    if (!was || !now) return;
    now.open = true;
    const body = was.querySelector("[data-body]");
    const place = now.querySelector("[data-body]");
    if (body && place) place.replaceWith(body);
  }
  let marked = 0;
  // single texts of rows, wherever they are shown: [row, {name: text or number}]
  function bits(changes) {
    for (const [row, values] of changes) {
      for (const element of document.querySelectorAll(`[data-row="${CSS.escape(row)}"]`)) {
        for (const [name, value] of Object.entries(values)) bit(element, name, value);
        element.classList.add("moved");
      }
    }
    clearTimeout(marked); // what has moved stays marked until nothing moves any more: a mark that fades is drawn 60 times a second
    marked = setTimeout(() => document.querySelectorAll(".moved").forEach((e) => e.classList.remove("moved")), 1200);
    document.documentElement.dataset.moves = String(1 + Number(document.documentElement.dataset.moves || 0));
  }
  function bit(element, name, value) {
    if (name === "verdict") element.dataset.verdict = value;
    if (name === "gauge") {
      element.querySelector("[data-bit=gauge]")?.style.setProperty("--m", value);
      return;
    }
    const at = element.querySelector(`[data-bit="${name}"]`);
    if (at && at.textContent !== value) at.textContent = value;
  }
  function mark(id, values) {
    const element = byId(id);
    for (const [name, value] of Object.entries(values)) {
      if (element && name === "value" && document.activeElement !== element) element.value = value;
      else if (element && name !== "value" && value === null) element.removeAttribute(name);
      else if (element && name !== "value") element.setAttribute(name, value);
    }
  }
  let saying = 0;
  function say(text) {
    const place = byId("fw-said");
    if (!place) return;
    clearTimeout(saying);
    saying = setTimeout(() => (place.textContent = text), 120);
  }
  function note(html) {
    const place = byId("fw-notes");
    const fresh = node(html);
    if (!place || !fresh) return;
    place.append(fresh);
    while (place.children.length > 3) place.firstElementChild.remove();
    if (!fresh.dataset.stays) setTimeout(() => fresh.remove(), 8000);
  }
  function focus(id) {
    const element = byId(id);
    if (!element) return;
    for (let at = element.parentElement; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    element.scrollIntoView({ block: "center" });
    element.focus({ preventScroll: true });
  }
  function clear(id) {
    const box = byId(id);
    if (box) box.value = "";
    focus(id);
  }
  let here = location.pathname + location.search;
  function at(address, title, replace) {
    document.title = title;
    here = address;
    if (location.pathname + location.search === address) return;
    history[replace ? "replaceState" : "pushState"]({}, "", address);
  }
  function dialog(id, open) {
    const element = byId(id);
    if (!element) return;
    if (open && !element.open) element.showModal();
    if (!open && element.open) element.close();
  }
  function theme(choice) {
    try {
      localStorage.setItem("fieldworthy.theme", choice);
    } catch {}
    document.documentElement.dataset.choice = choice;
    const dark = choice === "dark" || (choice === "auto" && matchMedia("(prefers-color-scheme: dark)").matches);
    document.documentElement.dataset.theme = dark ? "dark" : "light";
    document.getElementById("nicegui-color-scheme")?.setAttribute("content", dark ? "dark" : "light");
    return dark;
  }
  const stored = (name, otherwise) => {
    try {
      return localStorage.getItem(name) || otherwise;
    } catch {
      return otherwise;
    }
  };
  function units(choice) {
    try {
      localStorage.setItem("fieldworthy.units", choice);
    } catch {}
  }
  // what the server asks first: how the person likes it, and how much room there is
  function hello() {
    const dark = theme(stored("fieldworthy.theme", "auto"));
    watchServer();
    return { dark, units: stored("fieldworthy.units", "file"), width: innerWidth, kept: keptHere() };
  }

  // ---- what is not saved stays in this window's own store, so that a server that is lost takes nothing with it ----
  const KEPT = "fieldworthy.unsaved";
  const MOST = 700000; // characters; one message to the server is no longer
  let unsaved = false;
  function keptHere() {
    try {
      return JSON.parse(sessionStorage.getItem(KEPT) || "{}");
    } catch {
      return {};
    }
  }
  function keeps(state, file, texts) {
    unsaved = state;
    if (!file) return;
    const kept = keptHere();
    delete kept[file];
    if (state) kept[file] = texts;
    const told = JSON.stringify(kept);
    try {
      if (told.length < MOST) sessionStorage.setItem(KEPT, told);
      else sessionStorage.removeItem(KEPT);
    } catch {}
  }

  // ---- a server that is lost is said so across the page; nothing can be typed that nobody would hear ----
  let lost = false;
  let watching = null;
  function watchServer() {
    if (!window.socket || watching === window.socket) return;
    watching = window.socket;
    watching.on("disconnect", () => setTimeout(lose, 400));
    watching.on("connect", () => setTimeout(find, 400));
    watching.on("connect_error", () => lost && whyLost());
  }
  function lose() {
    if (watching.connected || lost) return;
    lost = true;
    keepTyping();
    byId("fw-main").inert = true;
    byId("fw-lost").textContent =
      "The server does not answer. What is not saved is kept in this window. Start fieldworthy again in the same folder, and the page goes on by itself.";
  }
  function find() {
    if (!watching.connected) return;
    lost = false;
    byId("fw-main").inert = false;
    byId("fw-lost").textContent = "";
  }
  async function whyLost() {
    try {
      const answer = await fetch("/fw/mark.svg", { cache: "no-store" });
      if (answer.status === 401)
        byId("fw-lost").textContent =
          "The server is back, but does not know this window. Open the address that its terminal shows, in this browser: then this page goes on by itself.";
    } catch {} // it is still away
  }
  // what was typed and not yet taken in is typed again once the page is back
  const TYPED = "fieldworthy.typed";
  function keepTyping() {
    const boxes = [...edits].map(([id, { value }]) => ({ id, value }));
    try {
      sessionStorage.setItem(TYPED, JSON.stringify({ here, boxes }));
    } catch {}
  }
  function typeAgain() {
    let told = null;
    try {
      told = JSON.parse(sessionStorage.getItem(TYPED) || "null");
      sessionStorage.removeItem(TYPED);
    } catch {}
    for (const { id, value } of told && told.here === here ? told.boxes : []) {
      const box = byId(id);
      if (!box?.dataset.path) continue;
      box.value = value;
      set(box, value, 0);
    }
  }

  // ---- numbers that a person moves: the newest is sent as soon as the last one is answered ----
  let waiting = null;
  let flying = 0;
  let settle = 0;
  function move(path, value) {
    waiting = { path, value };
    if (Date.now() - flying > 400) send();
  }
  function send() {
    if (!waiting) return;
    flying = Date.now();
    tell("move", waiting);
    waiting = null;
  }
  function moved() {
    flying = 0;
    send();
  }
  function set(element, value, wait) {
    const data = { path: element.dataset.path, part: element.dataset.part || "value", value };
    const of = element.id || element;
    if (pending && pending.of !== of) flush();
    clearTimeout(settle);
    edited(element);
    const mine = edits.get(element.id) || {};
    pending = () => {
      mine.sent = mine.last;
      tell("set", { ...data, id: element.id, edit: mine.last });
    };
    pending.of = of;
    settle = setTimeout(flush, wait);
  }
  // sliders that have something drawn anew: the newest place is sent as soon as the last one is drawn
  const slides = new Map();
  function slide(input) {
    const name = input.dataset.slide;
    const state = slides.get(name) || { flying: 0, waiting: null };
    slides.set(name, state);
    state.waiting = { ...input.dataset, value: input.value };
    if (Date.now() - state.flying > 1000) sendSlide(name);
  }
  function sendSlide(name) {
    const state = slides.get(name);
    if (!state || !state.waiting) return;
    state.flying = Date.now();
    tell("do", { do: name, ...state.waiting });
    state.waiting = null;
  }
  function slid(name) {
    const state = slides.get(name);
    if (state) state.flying = 0;
    sendSlide(name);
  }
  // lets a slider run from where it stands to its end, in as many seconds as the button says
  let playing = 0;
  function play(button) {
    const input = byId(button.dataset.play);
    if (!input) return;
    const running = button.getAttribute("aria-pressed") === "true";
    clearInterval(playing);
    button.setAttribute("aria-pressed", String(!running));
    if (running) return;
    const [low, high] = [Number(input.min), Number(input.max)];
    const from = Number(input.value) >= high ? low : Number(input.value);
    const began = performance.now();
    const rate = (high - low) / (1000 * Number(button.dataset.seconds || 4));
    playing = setInterval(() => {
      const now = Math.min(high, from + rate * (performance.now() - began));
      if (!input.isConnected) clearInterval(playing);
      input.value = now;
      slide(input);
      if (now < high) return;
      clearInterval(playing);
      button.setAttribute("aria-pressed", "false");
    }, 60);
  }

  const NUMBER = /^\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*)$/;
  function step(value) {
    const size = Math.abs(value) || 1;
    const power = 10 ** Math.floor(Math.log10(size / 50));
    return [1, 2, 5, 10].map((k) => k * power).find((k) => k >= size / 100) || power;
  }
  function nudge(input, times) {
    const found = NUMBER.exec(input.value);
    if (!found || input.readOnly) return;
    const by = step(Number(found[1])) * times;
    const number = Number((Number(found[1]) + by).toPrecision(10));
    input.value = `${number}${found[2] ? " " + found[2] : ""}`;
    move(input.dataset.path, input.value);
    set(input, input.value, 500);
  }

  // ---- what a word of the trade means, beside it ----
  function explain(term) {
    const place = byId("fw-term");
    place.replaceChildren(Object.assign(document.createElement("b"), { textContent: term.dataset.term }), `: ${term.dataset.told}.`);
    place.showPopover();
    const at = term.getBoundingClientRect();
    place.style.left = `${Math.max(8, Math.min(at.left, innerWidth - place.offsetWidth - 8))}px`;
    const below = at.bottom + 6;
    place.style.top = `${below + place.offsetHeight < innerHeight ? below : at.top - place.offsetHeight - 6}px`;
    say(place.textContent);
  }

  // ---- listening, once for all that there is and will be ----
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-go]");
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
      event.preventDefault();
      tell("go", { address: link.getAttribute("href") });
      return;
    }
    event.target.closest("[data-close=note]")?.closest(".note")?.remove();
    const term = event.target.closest("[data-term]");
    if (term) explain(term);
    const step = event.target.closest("[data-step]");
    if (step) nudge(byId(step.dataset.for), Number(step.dataset.step));
    const player = event.target.closest("button[data-play]");
    if (player) play(player);
    const button = event.target.closest("[data-do]");
    if (button && button.tagName === "BUTTON" && button.getAttribute("aria-disabled") !== "true") {
      tell("do", { do: button.dataset.do, ...button.dataset });
    }
  });
  document.addEventListener("input", (event) => {
    const input = event.target;
    edited(input);
    if (input.dataset.move !== undefined) move(input.dataset.path, input.value + (input.dataset.unit || ""));
    if (input.dataset.watch) {
      clearTimeout(input.waits);
      input.waits = setTimeout(() => tell("do", { do: input.dataset.watch, value: input.value }), 250);
    }
    if (input.dataset.slide) slide(input);
    if (input.dataset.lines !== undefined) gutter(input);
  });
  document.addEventListener("change", (event) => {
    const input = event.target;
    if (input.dataset.path) set(input, input.value + (input.dataset.unit || ""), 0);
    if (input.dataset.change) {
      const value = input.type === "checkbox" ? input.checked : input.value;
      tell("do", { do: input.dataset.change, value, ...input.dataset });
    }
    if (input.type === "file" && input.dataset.upload) upload(input);
  });
  // something taken from one place and put into another; who cannot drag has a list to choose from
  document.addEventListener("dragstart", (event) => {
    const taken = event.target.closest?.("[data-drag]");
    if (taken) event.dataTransfer.setData("text/plain", taken.dataset.drag);
  });
  dropsOn(
    (target) => target.closest?.("[data-drop]"),
    (place, event) => tell("do", { do: "drop", of: event.dataTransfer.getData("text/plain"), value: place.dataset.drop }),
  );
  // places on which something can be let go are marked while it is over them
  function dropsOn(placeOf, dropped) {
    document.addEventListener("dragover", (event) => {
      const place = placeOf(event.target);
      if (!place) return;
      event.preventDefault();
      place.dataset.over = "yes";
    });
    document.addEventListener("dragleave", (event) => {
      const place = placeOf(event.target);
      if (place && !place.contains(event.relatedTarget)) delete place.dataset.over;
    });
    document.addEventListener("drop", (event) => {
      const place = placeOf(event.target);
      if (!place) return;
      event.preventDefault();
      delete place.dataset.over;
      dropped(place, event);
    });
  }
  document.addEventListener("focusout", (event) => {
    const mine = edits.get(event.target.id); // typed and put back: nothing is sent, so nothing will be taken in
    if (mine && mine.sent !== mine.last && pending?.of !== event.target.id) letGo(event.target.id);
  });
  document.addEventListener("focusin", (event) => {
    if (event.target.dataset?.path) tell("at", { path: event.target.dataset.path });
  });
  document.addEventListener("keydown", (event) => {
    const input = event.target;
    if (input.dataset?.move !== undefined && input.type !== "range" && /^Arrow(Up|Down)$/.test(event.key)) {
      event.preventDefault();
      nudge(input, (event.key === "ArrowUp" ? 1 : -1) * (event.shiftKey ? 10 : 1));
    }
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    const typing = input.matches?.("textarea, input:not([data-path])");
    if (key === "s") {
      event.preventDefault();
      tell("do", { do: "save" });
    } else if (!typing && (key === "z" || key === "y")) {
      event.preventDefault();
      flush();
      for (const id of [...edits.keys()]) letGo(id);
      tell("do", { do: key === "y" || event.shiftKey ? "redo" : "undo" });
    }
  });
  document.addEventListener(
    "toggle",
    (event) => {
      const details = event.target;
      if (details.tagName === "DETAILS" && details.open && details.dataset.open && !details.dataset.told) {
        details.dataset.told = "yes";
        tell("do", { do: details.dataset.open, ...details.dataset });
      }
    },
    true,
  );
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-submit]");
    if (!form) return;
    event.preventDefault();
    tell("do", { do: form.dataset.submit, values: Object.fromEntries(new FormData(form)) });
  });
  window.addEventListener("popstate", () => {
    const address = location.pathname + location.search;
    if (address === here) return; // a jump within the page, as by the skip link
    here = address;
    tell("go", { address, back: true });
  });
  window.addEventListener("beforeunload", (event) => {
    if (unsaved && !lost) event.preventDefault();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    tell("dark", { dark: theme(stored("fieldworthy.theme", "auto")) });
  });

  // ---- files that come and go ----
  async function upload(input) {
    const file = input.files[0];
    if (!file) return;
    const answer = (text, bad) => {
      const place = byId(input.dataset.answer);
      if (place) {
        place.textContent = text;
        place.dataset.bad = bad ? "yes" : "";
      }
      input.value = "";
    };
    if (file.size > Number(input.dataset.most)) {
      answer(`${file.name} is too large: at most ${Number(input.dataset.most) / 1e6} MB.`, true);
      return;
    }
    try {
      const response = await fetch(`/upload/${input.dataset.upload}?name=${encodeURIComponent(file.name)}`, {
        method: "POST",
        body: file,
        headers: { "Content-Type": "application/octet-stream" },
      });
      const told = (await response.text()).slice(0, 2000);
      answer(told, !response.ok);
    } catch {
      answer("The file did not get through. Is the server still running?", true);
    }
  }

  function openFile(content, media) {
    const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
    window.open(URL.createObjectURL(new Blob([bytes], { type: media })), "_blank");
  }

  // ---- the text of a file, with its lines counted ----
  function gutter(area) {
    const place = byId(area.dataset.lines);
    if (!place) return;
    const count = area.value.split("\n").length;
    if (Number(place.dataset.count) !== count) {
      const bad = JSON.parse(place.dataset.bad || "[]");
      place.textContent = "";
      for (let line = 1; line <= count; line++) {
        const row = document.createElement("span");
        row.textContent = bad.includes(line) ? `▶ ${line}` : String(line);
        if (bad.includes(line)) row.className = "bad";
        place.append(row);
      }
      place.dataset.count = count;
    }
    place.scrollTop = area.scrollTop;
  }
  document.addEventListener(
    "scroll",
    (event) => {
      if (event.target.dataset?.lines !== undefined) gutter(event.target);
    },
    true,
  );
  function badLines(id, lines) {
    const area = byId(id);
    const place = area && byId(area.dataset.lines);
    if (!place) return;
    place.dataset.bad = JSON.stringify(lines);
    place.dataset.count = "";
    gutter(area);
  }
  function toLine(id, line, column) {
    const area = byId(id);
    if (!area) return;
    const lines = area.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((sum, text) => sum + text.length + 1, 0);
    area.focus();
    area.setSelectionRange(start + column - 1, start + (lines[line - 1] || "").length);
    area.scrollTop = Math.max(0, (line - 6) * parseFloat(getComputedStyle(area).lineHeight));
    gutter(area);
  }
  theme(stored("fieldworthy.theme", "auto"));
  return {
    put, rows, bits, mark, say, note, focus, at, dialog, theme, units, hello, keeps, moved, slid, settled, typeAgain, clear, openFile, badLines, toLine, gutter, byId, tell, dropsOn,
  };
})();
window.fw = fw;
