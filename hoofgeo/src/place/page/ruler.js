// The ruler read from the picture: shown over the photo first, used when the user says so.
//
// Between two marks of a straight ruler the program reads the other graduations, as `measure` does. Until that is answered the two
// marks stay out of the sidecar, so that nothing is ever read unseen; once it is declined, until there is a third.

import { post } from "./api.js";
import { speak } from "./dom.js";
import * as drafts from "./draft.js";
import { kindOf, missing } from "./facts.js";
import { choose, commit, held, listen, nextOpen, save, store, tell } from "./store.js";

/** How long a label is typed before it is read anew, ms. */
const SETTLES_MS = 250;

const none = () => ({ of: null, answer: null, reading: null, refused: null, busy: false });

/** The two marks between which a ruler can be read, as a text to compare; none where there are not two of a straight ruler. */
function between() {
  const points = drafts.graduations(store.draft);
  return kindOf().name === "straight_ruler" && points.length === 2 ? JSON.stringify(points) : null;
}

function set(changes) {
  Object.assign(store.ruler, changes);
  tell("ruler");
}

async function read() {
  const { ruler, photo } = store;
  const { of } = ruler;
  ruler.busy = true;
  let seen;
  try {
    seen = await post(`photo/${photo.id}/ruler`, { draft: store.draft });
  } catch (error) {
    seen = { refused: { what: error.message } };
  }
  // Photo or marks are others by now: another question is on its way.
  if (store.ruler !== ruler || ruler.of !== of) return;
  const told = { busy: false, reading: seen.refused ? null : seen, refused: seen.refused ?? null };
  if (seen.refused) {
    const kept = held();
    set({ ...told, answer: null });
    // Marks between which nothing can be read are a scale as they are.
    if (kept) save();
  } else {
    set(told);
    if (ruler.answer === "open") speak(`${seen.lines.length} graduations of the ruler are found and drawn. Use them? F6 leads to the answer.`);
  }
}

/** Asks for a reading where two marks are new or others than before. */
function follow(opened) {
  const marks = between();
  if (opened) store.ruler = none();
  const { ruler } = store;
  if (ruler.of === marks) return;
  clearTimeout(ruler.due);
  if (!marks) {
    store.ruler = none();
    return tell("ruler");
  }
  // What the sidecar says already, `measure` reads between too; what was answered holds while the marks are put right.
  const answer = opened ? store.photo.reading ?? "used" : ["used", "declined"].includes(ruler.answer) ? ruler.answer : "open";
  set({ of: marks, answer, reading: null, refused: null, busy: true });
  // A question that was left open is asked again.
  if (opened && answer !== "used") choose({ active: nextOpen(null) });
  ruler.due = setTimeout(read, opened ? 0 : SETTLES_MS);
}

/** Looks for a ruler without any mark. */
export async function find() {
  const { photo } = store;
  store.ruler = { ...none(), busy: true, looked: true };
  tell("ruler");
  const { ruler } = store;
  let seen;
  try {
    seen = await post(`photo/${photo.id}/ruler`, { draft: store.draft });
  } catch (error) {
    seen = { refused: { what: error.message } };
  }
  if (store.ruler !== ruler || ruler.of) return;
  // Marked by hand meanwhile: that counts.
  if (drafts.graduations(store.draft).length) return set({ busy: false });
  set({ busy: false, reading: seen.refused ? null : seen, refused: seen.refused ?? null, answer: seen.refused ? null : "open" });
  speak(seen.refused ? `No ruler: ${seen.refused.what}` : `${seen.lines.length} graduations are found and drawn. Use them? F6 leads to the answer.`);
}

/** Takes what was read. Found without marks, it is told by two of its graduations, between which it is read. */
export function use() {
  const { of, reading } = store.ruler;
  if (of) {
    set({ answer: "used" });
    save();
  } else {
    const long = reading.lines.filter(([mm]) => Math.abs(mm % 10) < 1e-9);
    const ends = long.length > 1 ? long : reading.lines;
    const marks = [ends[0], ends.at(-1)].map(([mm, x, y]) => ({ mm, at: drafts.point(x, y, store.photo) }));
    store.ruler.answer = "used";
    commit(drafts.setGraduations(store.draft, marks));
  }
  choose({ selected: null });
}

export function decline() {
  if (!store.ruler.of) {
    store.ruler = { ...none(), looked: true };
    return tell("ruler");
  }
  set({ answer: "declined" });
  save();
}

/** A straight ruler that nothing is marked of is looked for once, when it is asked for. */
function lookUnasked() {
  const { ruler, active, photo, draft, visit } = store;
  const wanted = active?.kind === "scale" && !photo.closed && !visit.repeat && !missing().length;
  if (!wanted || ruler.looked || ruler.busy || ruler.of || drafts.graduations(draft).length || kindOf().name !== "straight_ruler") return;
  find();
}

listen((what) => ["photo", "draft"].includes(what) && follow(what === "photo"));
listen((what) => store.photo && ["photo", "draft", "choice"].includes(what) && setTimeout(lookUnasked));
