// The contact sheet: every photo as a picture, in the order of time, and what each shows: said by a key, by a press, by dragging, or by
// the order in which the photos were taken, filled in for the rest.

import { post } from "./api.js";
import { ask, byId, el, keepFocus, speak, whenFree } from "./dom.js";
import { board, cellName, inOrderOfTime, pauses, plan } from "./order.js";
import { openPhoto, store, tell } from "./store.js";
import { Thumbs } from "./thumbs.js";

export const SHEET_KEYS = [
  ["1, 2, 3, 4", "left fore, right fore, left hind, right hind"],
  ["L, O", "from the side, from the sole"],
  ["M", "which side faces the camera: the other one"],
  ["B, A", "before, after the trim"],
  ["H", "another of the animals named so far"],
  ["F", "fill in the order from this photo on"],
  ["X", "pass this photo over, or not"],
  ["Delete", "say nothing of this photo"],
  ["Arrow keys, Home, End", "another photo"],
  ["Enter", "mark this photo"],
  ["Ctrl Z", "take the last step back"],
  ["C", "from the photo to the sheet, and back"],
];

const FACTS = ["foot", "view", "side", "stage", "animal"];
const SLACK_PX = 6;
const HOLD_MS = 280;

const sheet = { open: false, current: null, past: [], order: null, stages: "", passed: new Set() };
let page;
let thumbs;

const photos = () => inOrderOfTime(store.visit.photos);
const usable = () => photos().filter((p) => p.state !== "refused");
const feet = () => store.visit.catalogue.feet.map((f) => f.name);
const find = (id) => store.visit.photos.find((p) => p.id === id);
const here = () => find(sheet.current);
const slot = (what) => `hoofgeo-sheet-${what}:${store.visit.id}`;

let last = Promise.resolve();

/** Says of photos what they show: `[{ id, foot, … }]`. Saved at once, one after another; can be taken back. */
function describe(changes, undoing = false) {
  last = last.then(() => say(changes, undoing));
  return last;
}

async function say(changes, undoing) {
  const real = changes.filter((c) => find(c.id) && FACTS.some((f) => f in c && (find(c.id)[f] ?? null) !== c[f]));
  if (!real.length) return;
  const before = real.map(({ id }) => ({ id, ...Object.fromEntries(FACTS.map((f) => [f, find(id)[f] ?? null])) }));
  try {
    const done = await post("sheet", { photos: real });
    done.photos.forEach((p) => { store.visit.photos[p.id] = p; });
    if (!undoing) sheet.past.push(before);
    const told = done.refused.map((r) => `${find(r.id).name}: ${r.why.what}`);
    byId("sheet-said").textContent = told.join(". ");
    if (told.length) speak(told.join(". "));
    sheet.stale ||= real.some((c) => c.id === store.photo?.id);
  } catch (error) {
    byId("sheet-said").textContent = `Not saved: ${error.message}`;
  }
  tell("visit");
  show();
}

async function undo() {
  const before = sheet.past.pop();
  if (!before) return speak("Nothing to take back.");
  await describe(before, true);
  speak("Taken back");
}

const set = (changes) => here() && describe([{ id: sheet.current, ...changes }]);

/** The foot, view and stage of a cell of the board, for the photo at hand; the next one follows. */
async function assign(id, cell) {
  const { foot, view, stage } = cell;
  await describe([{ id, foot, view, ...(stage ? { stage } : {}), ...(cell.animal ? { animal: cell.animal } : {}) }]);
  if (id === sheet.current) step(1);
}

function choose(id, focus = true) {
  sheet.current = id;
  show();
  if (!focus) return;
  const tile = byId("sheet-groups").querySelector(`[data-photo="${id}"]`);
  tile?.focus({ preventScroll: true });
  tile?.scrollIntoView({ block: "nearest" });
}

function step(by) {
  const all = usable();
  const at = all.findIndex((p) => p.id === sheet.current) + by;
  choose(all[Math.min(Math.max(at, 0), all.length - 1)].id);
}

/** By rows: to the tile above or below. */
function row(by) {
  const tiles = [...byId("sheet-groups").querySelectorAll(".tile")];
  const box = (t) => t.getBoundingClientRect();
  const now = tiles.find((t) => Number(t.dataset.photo) === sheet.current);
  if (!now) return;
  const { left, top } = box(now);
  const ahead = tiles.filter((t) => (box(t).top - top) * by > 4);
  if (!ahead.length) return;
  const next = by > 0 ? Math.min(...ahead.map((t) => box(t).top)) : Math.max(...ahead.map((t) => box(t).top));
  const best = ahead.filter((t) => Math.abs(box(t).top - next) < 4).sort((a, b) => Math.abs(box(a).left - left) - Math.abs(box(b).left - left))[0];
  choose(Number(best.dataset.photo));
}

/** Fills in the order from a photo on; from the first where none is named. */
async function fill(from) {
  const names = store.visit.catalogue;
  const changes = plan(usable().filter((p) => !sheet.passed.has(p.id) && !thumbs.twin(p.id)), sheet.order, sheet.stages, from, names);
  if (!changes) {
    byId("sheet-said").textContent = "The order is not understood: write LF side, LF sole, RF side … with a comma between.";
    return;
  }
  await describe(changes);
  const missing = board(usable(), names).reduce((n, b) => n + b.cells.filter((c) => !c.ids.length).length, 0);
  speak(`Filled in for ${changes.length} photos; ${missing} missing.`);
}

function pass(id) {
  if (!sheet.passed.delete(id)) sheet.passed.add(id);
  localStorage.setItem(slot("passed"), JSON.stringify([...sheet.passed]));
  show();
}

function nextAnimal() {
  const names = [...new Set(photos().map((p) => p.animal).filter(Boolean))];
  if (!names.length) return byId("sheet-groups").querySelector("input.animal")?.focus();
  set({ animal: names[(names.indexOf(here().animal) + 1) % names.length] });
}

const does = (event) => ({
  1: () => set({ foot: feet()[0] }), 2: () => set({ foot: feet()[1] }), 3: () => set({ foot: feet()[2] }), 4: () => set({ foot: feet()[3] }),
  l: () => set({ view: "lateral" }), o: () => set({ view: "solar" }),
  m: () => set({ view: "lateral", side: here().side === "medial" ? "lateral" : "medial" }),
  b: () => set({ stage: "before_trim" }), a: () => set({ stage: "after_trim" }),
  h: nextAnimal, f: () => fill(sheet.current), x: () => pass(sheet.current),
  Delete: () => set(Object.fromEntries(FACTS.map((f) => [f, null]))),
  ArrowRight: () => step(1), ArrowLeft: () => step(-1), ArrowDown: () => row(1), ArrowUp: () => row(-1),
  Home: () => step(-1e6), End: () => step(1e6), Enter: () => mark(sheet.current), c: () => toggle(false),
}[event.key.length === 1 ? event.key.toLowerCase() : event.key]);

function key(event) {
  // Also where nothing has the focus.
  const ours = byId("sheet").contains(event.target) || event.target === document.body;
  if (!sheet.open || !ours || event.target.matches("input, select") || document.querySelector("dialog[open]")) return;
  const held = event.ctrlKey || event.metaKey || event.altKey;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    return undo();
  }
  // A button of the sheet is pressed by Enter; a tile is opened by it.
  const run = !held && !(event.key === "Enter" && !event.target.closest(".tile")) && does(event);
  if (!run) return;
  event.preventDefault();
  run();
}

async function mark(id) {
  await toggle(false);
  await page.open(id);
  page.focus("photo");
}

/** Dragging a picture onto the board: at once with the mouse, after a moment's hold with a finger. */
function drag(event, id) {
  if (event.button > 0) return;
  const touched = event.pointerType !== "mouse";
  const from = [event.clientX, event.clientY];
  const tile = event.currentTarget;
  let ghost = null;
  const start = () => {
    ghost = el("div", { class: "ghost", "aria-hidden": "true" });
    ghost.append(tile.querySelector("img").cloneNode());
    document.body.append(ghost);
    choose(id, false);
  };
  const hold = touched ? setTimeout(start, HOLD_MS) : null;
  const under = (e) => document.elementFromPoint(e.clientX, e.clientY)?.closest("[data-cell]");
  const moved = (e) => {
    const far = Math.hypot(e.clientX - from[0], e.clientY - from[1]) > SLACK_PX;
    if (!ghost && far && touched) return end(null);
    if (!ghost && far) start();
    if (!ghost) return;
    ghost.style.transform = `translate(${e.clientX}px, ${e.clientY}px)`;
    document.querySelectorAll("[data-cell].over").forEach((c) => c.classList.remove("over"));
    under(e)?.classList.add("over");
  };
  const still = (e) => ghost && e.preventDefault();
  function end(e) {
    clearTimeout(hold);
    for (const [name, does] of [["pointermove", moved], ["pointerup", end], ["pointercancel", end]]) removeEventListener(name, does);
    tile.removeEventListener("touchmove", still);
    document.querySelectorAll("[data-cell].over").forEach((c) => c.classList.remove("over"));
    if (!ghost) return;
    ghost.remove();
    const cell = e?.type === "pointerup" && under(e);
    if (cell) assign(id, JSON.parse(cell.dataset.cell));
    // The click that ends the dragging opens nothing.
    const none = (c) => c.stopPropagation();
    addEventListener("click", none, { capture: true });
    setTimeout(() => removeEventListener("click", none, { capture: true }));
  }
  for (const [name, does] of [["pointermove", moved], ["pointerup", end], ["pointercancel", end]]) addEventListener(name, does);
  tile.addEventListener("touchmove", still, { passive: false });
}

const title = (list, name) => list.find((x) => x.name === name)?.title;

/** What a photo shows, in few words. */
function words(p) {
  const c = store.visit.catalogue;
  const view = { lateral: p.side === "medial" ? "medial side" : "side", solar: "sole" }[p.view];
  return [p.foot, view, title(c.stages, p.stage)?.toLowerCase().replace(" trim", "")].filter(Boolean).join(" ");
}

const tiles = new Map();

function tile(p) {
  if (!tiles.has(p.id)) {
    const image = el("img", { alt: "", draggable: false });
    const parts = { shows: el("b", {}), name: el("span", { class: "name" }), flag: el("span", { class: "word" }), state: el("span", { class: "state" }), told: el("span", { class: "told" }) };
    const button = el("button", {
      type: "button", class: "tile", "data-photo": String(p.id), "data-key": `tile ${p.id}`,
      onclick: () => (sheet.current === p.id ? null : choose(p.id)), ondblclick: () => mark(p.id), onpointerdown: (e) => drag(e, p.id),
    }, el("span", { class: "picture" }, image, parts.flag), parts.shows, parts.name, parts.state, parts.told);
    tiles.set(p.id, { item: el("li", {}, button), button, parts, image });
    thumbs.watch(button, p.id, image);
  }
  const { item, button, parts } = tiles.get(p.id);
  const seen = thumbs.seen(p.id);
  const says = words(p);
  const text = (node, t) => { if (node.textContent !== t) node.textContent = t; };
  text(parts.shows, says || "not said yet");
  text(parts.name, [p.name.split("/").pop(), p.animal].filter(Boolean).join(" · "));
  text(parts.state, p.state === "done" ? "marked" : p.state === "begun" ? "begun" : p.state === "refused" ? "cannot be opened" : "");
  const word = sheet.passed.has(p.id) ? "passed over" : thumbs.twin(p.id) ? "double" : seen && seen.urgency !== "good" ? seen.urgency : "";
  text(parts.flag, word);
  const now = p.id === sheet.current;
  button.className = `tile ${says ? "said" : ""} ${word.replace(" ", "-")} ${now ? "now" : ""}`;
  button.tabIndex = now ? 0 : -1;
  button.setAttribute("aria-pressed", String(now));
  text(parts.told, (seen?.remarks ?? []).join(". "));
  return item;
}

let shown = "";

function showGroups() {
  const groups = pauses(photos());
  const shape = JSON.stringify(groups.map((g) => [g.title, g.photos.map((p) => p.id)]));
  // Nothing is made anew under the hand: what stands there is brought up to date.
  if (shape === shown) {
    groups.forEach((g, i) => {
      g.photos.forEach(tile);
      const input = byId(`animal-${i}`);
      if (input !== document.activeElement) input.value = g.photos[0].animal ?? "";
    });
    return;
  }
  shown = shape;
  byId("sheet-groups").replaceChildren(...groups.map((group, i) => {
    const input = el("input", { type: "text", class: "animal", id: `animal-${i}`, value: group.photos[0].animal ?? "", autocomplete: "off", onchange: () => {
      // From here on, as far as the photos say the same as these.
      const now = pauses(photos());
      const was = now[i].photos[0].animal ?? null;
      const on = now.slice(i).flatMap((g) => g.photos).filter((p) => now[i].photos.includes(p) || (p.animal ?? null) === was);
      describe(on.map((p) => ({ id: p.id, animal: input.value.trim() || null })));
    } });
    return el("section", { class: "group" },
      el("div", { class: "head" }, el("h2", {}, group.title, el("small", {}, ` ${group.photos.length} photo${group.photos.length === 1 ? "" : "s"}`)),
        el("label", { for: `animal-${i}` }, "Animal"), input),
      el("ul", { class: "tiles" }, group.photos.map(tile)));
  }));
}

function showBoard() {
  const names = store.visit.catalogue;
  const boards = board(usable().filter((p) => !sheet.passed.has(p.id)), names, sheet.stages);
  const missing = boards.reduce((n, b) => n + b.cells.filter((c) => !c.ids.length).length, 0);
  byId("board-says").textContent = missing ? `What is there: ${missing} missing` : "What is there: all of it";
  byId("board").replaceChildren(...boards.map((b) => el("table", {},
    el("caption", {}, b.animal ?? "Animal without a name"),
    el("thead", {}, el("tr", {}, el("td", {}), b.columns.map((c) => el("th", { scope: "col" }, c.title)))),
    el("tbody", {}, names.feet.map((foot) => el("tr", {}, el("th", { scope: "row" }, foot.name), b.columns.map((c) => {
      const cell = b.cells.find((x) => x.foot === foot.name && x.view === c.view && x.stage === c.stage);
      const n = cell.ids.length;
      const to = JSON.stringify({ foot: cell.foot, view: cell.view, stage: cell.stage, animal: b.animal });
      return el("td", {}, el("button", {
        type: "button", class: n ? "there" : "gap", "data-cell": to, "data-key": to,
        "aria-label": `${cellName(cell, names)}: ${n ? `${n} there` : "missing"}. Press: the chosen photo is this one`,
        onclick: () => here() && assign(sheet.current, JSON.parse(to)),
      }, n > 1 ? `${n} ×` : n ? "✓" : "–"));
    })))))));
}

function showCurrent() {
  const p = here();
  const { catalogue } = store.visit;
  if (!p) return byId("sheet-now").replaceChildren();
  const press = (text, hint, on, change) => el("button", { type: "button", "aria-pressed": String(on), "data-key": hint, onclick: () => set(change) }, text, el("kbd", {}, hint));
  const seen = thumbs.seen(p.id);
  byId("sheet-now").replaceChildren(
    el("h2", {}, p.name),
    el("div", { class: "buttons four", role: "group", "aria-label": "Which foot" }, catalogue.feet.map((f, i) => press(f.name, String(i + 1), p.foot === f.name, { foot: f.name }))),
    el("div", { class: "buttons four", role: "group", "aria-label": "View and stage" },
      press("Side", "L", p.view === "lateral", { view: "lateral" }), press("Sole", "O", p.view === "solar", { view: "solar" }),
      press("Before", "B", p.stage === "before_trim", { stage: "before_trim" }), press("After", "A", p.stage === "after_trim", { stage: "after_trim" })),
    el("div", { class: "buttons" },
      el("button", { type: "button", class: "main", onclick: () => mark(p.id) }, "Mark this photo"),
      el("button", { type: "button", onclick: () => pass(p.id) }, sheet.passed.has(p.id) ? "Count it again" : "Pass it over")),
    el("ul", { class: "remarks" }, (seen?.remarks ?? []).map((r) => el("li", {}, r)), thumbs.twin(p.id) ? el("li", {}, `the same photo as ${find(thumbs.twin(p.id) - 1)?.name}`) : null));
}

function show() {
  if (!sheet.open) return;
  keepFocus(byId("sheet-groups"), showGroups);
  keepFocus(byId("board"), showBoard);
  keepFocus(byId("sheet-now"), showCurrent);
  byId("sheet-undo").disabled = !sheet.past.length;
  thumbs.pump();
}

/** Opens or closes the sheet. */
export async function toggle(open = !sheet.open) {
  // What it says of the photo that lies under it is known there before anything can be marked.
  if (!open && sheet.stale) {
    await last;
    sheet.stale = false;
    await openPhoto(store.photo.id);
  }
  sheet.open = open;
  byId("sheet").hidden = !open;
  document.body.classList.toggle("sheeting", open);
  for (const part of [document.querySelector("main"), byId("panel")]) part.inert = open;
  byId("show-sheet").textContent = open ? "Back to the photo" : "Contact sheet";
  byId("show-sheet").setAttribute("aria-expanded", String(open));
  thumbs.run(open);
  if (open) {
    sheet.current ??= store.photo?.id ?? usable()[0]?.id ?? null;
    show();
    return choose(sheet.current);
  }
  return page.focus("photo");
}

/** Whether a visit begins with the sheet: photos of which nothing is known but their names. */
export const wanted = () => store.visit.photos.filter((p) => p.state === "new" && !p.foot && !p.view).length > 2;

export function openSheet(its) {
  page = its;
  thumbs = new Thumbs(() => whenFree("sheet", show));
  sheet.order = localStorage.getItem("hoofgeo-order") ?? "LF side, LF sole, RF side, RF sole, LH side, LH sole, RH side, RH sole";
  sheet.stages = localStorage.getItem("hoofgeo-stages") ?? "all";
  sheet.passed = new Set(JSON.parse(localStorage.getItem(slot("passed")) ?? "[]"));
  const order = byId("order");
  order.value = sheet.order;
  order.addEventListener("change", () => { sheet.order = order.value; localStorage.setItem("hoofgeo-order", sheet.order); });
  order.addEventListener("keydown", (e) => { if (e.key === "Enter") { sheet.order = order.value; fill(null); } });
  const stages = byId("order-stages");
  stages.value = sheet.stages;
  stages.addEventListener("change", () => { sheet.stages = stages.value; localStorage.setItem("hoofgeo-stages", sheet.stages); show(); });
  byId("order-fill").addEventListener("click", () => fill(null));
  byId("sheet-undo").addEventListener("click", undo);
  byId("show-sheet").addEventListener("click", () => { page.closeList(); toggle(); });
  document.addEventListener("keydown", key);
  // On a phone the pictures come first; order and board are opened when they are wanted.
  const narrow = matchMedia("(max-width: 640px)");
  const fold = () => ["order-box", "board-box"].forEach((id) => { byId(id).open = !narrow.matches; });
  narrow.addEventListener("change", fold);
  fold();
  return { sheet, thumbs, describe, fill, toggle, choose };
}

export const help = () => ask("Keys of the contact sheet", el("dl", { class: "keys" }, SHEET_KEYS.flatMap(([k, d]) => [el("dt", {}, k), el("dd", {}, d)])), [{ text: "Close", value: null, main: true }]);
export const isOpen = () => sheet.open;
