// What the program offers while a photo is marked: landmarks where the shape of feet expects them, lines that it reads from the picture.
// An offer is drawn dashed, is accepted by a key or a press, and is in no sidecar before.

import { post } from "./api.js";
import { speak } from "./dom.js";
import * as drafts from "./draft.js";
import { missing } from "./facts.js";
import { choose, commit, listen, nextOpen, stateOf, store, tell } from "./store.js";

/** How long a mark rests before it is asked anew, ms. */
const SETTLES_MS = 150;

const none = () => ({ landmarks: {}, lines: {} });
store.offers = none();

let due = null;
let asking = false;
let stale = false;

/** The offers that fill an open slot: `[{ kind, name }]`. */
export function open() {
  const { landmarks, lines } = store.offers;
  const is = (kind) => (name) => stateOf({ kind, name }) === "open";
  return [
    ...Object.keys(landmarks).filter(is("landmark")).map((name) => ({ kind: "landmark", name })),
    ...Object.keys(lines).filter(is("line")).map((name) => ({ kind: "line", name })),
  ];
}

/** What is offered for a step, also an outline that follows the edge which a person's clicks run along. */
export function offerOf(step) {
  if (step?.kind === "landmark") return stateOf(step) === "open" ? store.offers.landmarks[step.name] ?? null : null;
  return step?.kind === "line" && !followed.has(step.name) ? store.offers.lines[step.name] ?? null : null;
}

/** Outlines whose trace was taken already. */
const followed = new Set();

async function ask() {
  if (asking) { stale = true; return; }
  asking = true;
  try {
    do {
      stale = false;
      const { photo, draft } = store;
      const offers = await post(`photo/${photo.id}/suggest`, { draft });
      if (store.photo === photo && store.draft === draft) {
        const before = open().length;
        store.offers = offers;
        tell("offers");
        const now = open().length;
        if (now && !before) speak(`${now} marks are offered. Shift A accepts all, A the one that is asked for.`);
      } else stale = true;
    } while (stale);
  } catch { /* the program is gone: saving says so */ } finally {
    asking = false;
    store.offering = false;
    tell("offers");
  }
}

function follow(opened) {
  if (opened) {
    store.offers = none();
    followed.clear();
  }
  clearTimeout(due);
  const { photo, draft, visit } = store;
  const placed = Object.values(draft.landmarks ?? {}).filter(Boolean).length;
  const traced = Object.values(draft.lines ?? {}).some((points) => points?.length > 3);
  if (photo.closed || visit.repeat || missing().length || (placed < 2 && !traced)) {
    store.offers = none();
    store.offering = false;
    return;
  }
  store.offering = true;
  due = setTimeout(ask, SETTLES_MS);
}

/** Accepts the offer for what is asked. */
export function accept() {
  const { active } = store;
  const offer = offerOf(active);
  if (!offer) return speak("Nothing is offered here.");
  if (active.kind === "line") followed.add(active.name);
  commit(drafts.accept(store.draft, active.kind === "landmark" ? { [active.name]: offer } : {}, active.kind === "line" ? { [active.name]: offer } : {}));
  choose({ active: nextOpen(active), selected: null });
  return speak("Accepted");
}

/** Accepts everything that fills an open slot. */
export function acceptAll() {
  const all = open();
  if (!all.length) return speak("Nothing is offered.");
  const { landmarks, lines } = store.offers;
  const pick = (kind, from) => Object.fromEntries(all.filter((o) => o.kind === kind).map((o) => [o.name, from[o.name]]));
  all.filter((o) => o.kind === "line").forEach((o) => followed.add(o.name));
  commit(drafts.accept(store.draft, pick("landmark", landmarks), pick("line", lines)));
  choose({ active: nextOpen(null), selected: null });
  return speak(`${all.length} accepted`);
}

/** What is asked for yet and not offered cannot be seen on this photo. */
export function unseeRest() {
  const steps = drafts.steps(store.draft, store.visit.catalogue).filter((s) => s.kind !== "scale" && stateOf(s) === "open");
  if (!steps.length) return;
  commit(steps.reduce((draft, step) => drafts.unsee(draft, step), store.draft));
  choose({ active: nextOpen(null), selected: null });
  speak(`${steps.length} said not to be seen`);
}

listen((what) => ["photo", "draft"].includes(what) && follow(what === "photo"));
