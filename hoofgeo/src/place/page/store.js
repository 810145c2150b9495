// The photo at work: its draft, what is chosen on it, undo and redo, and saving every change at once.

import { get, post, Refused, Unreachable } from "./api.js";
import * as drafts from "./draft.js";

const listeners = [];
const channel = "BroadcastChannel" in window ? new BroadcastChannel("hoofgeo-place") : null;

export const store = {
  visit: null,
  photo: null,
  draft: null,
  /** What a click marks: a step's `{ kind, name }`. */
  active: null,
  /** The mark that the arrow keys move. */
  selected: null,
  /** Saved, saving, unsent, conflict, refused. */
  saving: "saved",
  problem: null,
  values: null,
  /** What is read of the ruler, and what was answered about it: `ruler.js`. */
  ruler: { answer: null, reading: null },
  past: [],
  future: [],
};

/** Calls `listener(what)` after every change; `what` is photo, draft, preview, choice, ruler, offers, saving, values or visit. */
export const listen = (listener) => listeners.push(listener);
export const tell = (what) => listeners.forEach((listener) => listener(what));

const slot = (photo = store.photo) => `hoofgeo-place:${store.visit.id}:${photo.name}`;

export async function openVisit() {
  store.visit = await get("visit");
  tell("visit");
}

/** Opens a photo, if `still` wanted once it is here. What an earlier page could not send is sent now. */
export async function openPhoto(id, still = () => true) {
  // What is on its way goes first.
  while (sending && store.saving === "saving") await new Promise((go) => setTimeout(go, 10));
  const photo = await get(`photo/${id}`);
  if (!still()) return;
  Object.assign(store, { photo, draft: photo.draft, selected: null, past: [], future: [], values: photo.values, saving: "saved", problem: photo.unsettled });
  store.active = nextOpen(null);
  tell("photo");
  tell("values");
  const unsent = JSON.parse(localStorage.getItem(slot()) ?? "null");
  if (photo.left_over) conflict(photo.left_over);
  else if (unsent && unsent.base === photo.version) commit(unsent.draft);
  else if (unsent && JSON.stringify(unsent.draft) !== JSON.stringify(photo.draft)) conflict(unsent.draft);
  else if (unsent) localStorage.removeItem(slot());
}

/** The next step that is open, after the given one and round; landmarks come before lines, the scale first. */
export function nextOpen(after) {
  const steps = drafts.steps(store.draft, store.visit.catalogue);
  const usable = (s) => stateOf(s) === "open" && !(store.visit.repeat && s.kind === "line");
  const from = after ? steps.findIndex((s) => drafts.same(s, { ...after, index: 0 }) || (s.kind === after.kind && s.name === after.name)) : -1;
  const found = [...steps.slice(from + 1), ...steps.slice(0, from + 1)].find(usable);
  return found ? { kind: found.kind, name: found.name } : null;
}

/** What keeps the ruler's two marks out of the sidecar: a question that is open, or its "no". */
export const held = () => (["open", "declined"].includes(store.ruler.answer) && store.ruler.of ? store.ruler.answer : null);

/** placed, open or unseen, as the draft has it; two marks that are kept back are not all of a ruler. */
export const stateOf = (step) => (step.kind === "scale" && held() ? "open" : drafts.state(store.draft, step));

export const catalogueOf = (step) => drafts.steps(store.draft, store.visit.catalogue).find((s) => s.kind === step?.kind && s.name === step?.name);

export function choose(changes) {
  Object.assign(store, changes);
  tell("choice");
}

/** Shows a draft while a mark is still moving; nothing is saved. */
export function preview(draft) {
  store.draft = draft;
  tell("preview");
}

let last = { what: null, when: 0 };

/** Takes a draft as done: it can be undone, and is saved. Steps of the same `what` in quick succession are undone together. */
export function commit(draft, what = null) {
  if (store.photo.closed || JSON.stringify(draft) === JSON.stringify(store.draft)) return;
  const together = what && what === last.what && performance.now() - last.when < 1000;
  last = { what, when: performance.now() };
  if (!together) store.past.push(store.draft);
  if (store.past.length > 500) store.past.shift();
  store.future = [];
  store.draft = draft;
  tell("draft");
  save();
}

function step(from, to) {
  if (!from.length) return;
  to.push(store.draft);
  store.draft = from.pop();
  if (store.selected && !drafts.at(store.draft, store.selected)) store.selected = null;
  tell("draft");
  save();
}
export const undo = () => step(store.past, store.future);
export const redo = () => step(store.future, store.past);

let sending = false;

/** Sends the newest draft; kept in this browser until the program has written it. */
export async function save() {
  if (store.saving === "conflict") return;
  localStorage.setItem(slot(), JSON.stringify({ base: store.photo.version, draft: store.draft }));
  state("saving");
  if (sending) return;
  sending = true;
  try {
    while (store.saving === "saving") await sendOnce();
  } finally {
    sending = false;
  }
}

async function sendOnce() {
  const { photo, draft } = store;
  const reading = held();
  try {
    const done = await post(`photo/${photo.id}`, { base: photo.version, draft, reading });
    photo.version = done.version;
    store.visit.photos[photo.id] = done.summary;
    if (store.photo !== photo) return state("saved");
    store.problem = done.unsettled;
    channel?.postMessage({ visit: store.visit.id, id: photo.id, version: done.version });
    if (store.draft !== draft || held() !== reading) return localStorage.setItem(slot(photo), JSON.stringify({ base: photo.version, draft: store.draft }));
    localStorage.removeItem(slot(photo));
    state("saved");
    tell("visit");
  } catch (error) {
    if (error instanceof Unreachable) {
      state("unsent");
      setTimeout(() => store.saving === "unsent" && save(), 1500);
    } else if (error instanceof Refused && error.status === 409) {
      store.aside = error.aside;
      conflict(draft);
    } else {
      store.problem = error.error ?? { what: error.message };
      state("refused");
    }
  }
}

function state(saving) {
  store.saving = saving;
  tell("saving");
}

function conflict(mine) {
  store.mine = mine;
  state("conflict");
}

/** After a conflict: the files as they are now, `mine` put aside under a name of its own where that is wanted. */
export async function settle(keepMine) {
  const { id } = store.photo;
  const kept = keepMine ? await post(`photo/${id}/aside`, { draft: store.mine }) : null;
  localStorage.removeItem(slot());
  store.saving = "saved";
  if (store.photo.left_over) {
    // The program's own leftover goes with the next change that is saved.
    const photo = await get(`photo/${id}`);
    const done = await post(`photo/${id}`, { base: photo.version, draft: photo.draft });
    store.visit.photos[id] = done.summary;
  }
  await openPhoto(id);
  tell("visit");
  return kept?.file;
}

/** Takes over what another window or program has changed, where nothing of one's own is waiting. */
async function follow() {
  if (!store.photo || store.saving !== "saved" || sending) return;
  const { photo, draft } = store;
  const known = photo.version;
  // An answer that is older than what was done meanwhile says nothing.
  const still = () => store.photo === photo && store.draft === draft && photo.version === known && store.saving === "saved" && !sending;
  try {
    const { version } = await get(`photo/${photo.id}/version`);
    if (version === known || !still()) return;
    const { active } = store;
    await openPhoto(photo.id, still);
    if (active && stateOf(active) === "open") choose({ active });
    tell("followed");
  } catch { /* said when something is to be saved */ }
}
channel?.addEventListener("message", ({ data }) => {
  if (data.visit === store.visit?.id && data.id === store.photo?.id && data.version !== store.photo.version) follow();
});
setInterval(() => document.visibilityState === "visible" && follow(), 2500);
window.addEventListener("focus", follow);
