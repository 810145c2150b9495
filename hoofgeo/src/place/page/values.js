// The values, live: asked for while a mark moves, one question at a time, always of the newest draft.

import { post } from "./api.js";
import { byId, el, keepFocus } from "./dom.js";
import * as drafts from "./draft.js";
import { commit, listen, store, tell } from "./store.js";

let asking = false;

/** From each move of a mark until values of it, or of a later one, stood on the page, ms: for whoever wants to know. */
export const took = [];

/** When the moves were made that still wait for their values. */
let waiting = [];

/** What an answer depends on. */
const now = () => [store.draft, store.ruler.answer, store.ruler.reading];
const isStill = (then) => now().every((part, i) => part === then[i]);

async function askFor() {
  if (asking) return;
  asking = true;
  try {
    let of = [];
    while (!isStill(of)) {
      of = now();
      const moves = waiting;
      waiting = [];
      const { photo } = store;
      const read = store.ruler.answer === "used" && Boolean(store.ruler.reading);
      const values = await post(`photo/${photo.id}/values`, { draft: store.draft, read });
      if (store.photo === photo) {
        store.values = values;
        tell("values");
      }
      const shown = performance.now();
      took.push(...moves.map((from) => shown - from));
      took.splice(0, took.length - 5000);
    }
  } catch { /* the program is gone: saving says so */ } finally {
    asking = false;
  }
}

/** The name of the mark that is moving or chosen, as values name what they use. */
const moving = () => (store.selected?.kind === "scale" ? null : store.selected?.name);

/** Rows are made once and brought up to date: nothing else on the page moves with a mark. */
const rows = new Map();

function write(node, text) {
  if (node.data !== text) node.data = text;
}

function makeRow(value) {
  const parts = { number: new Text(), expanded: new Text(), share: new Text(), doubt: new Text(), limit: new Text(), change: new Text() };
  const row = el("div", { class: "value", "data-id": value.id },
    el("dt", { title: value.definition }, value.name),
    el("dd", {}, Object.entries(parts).map(([name, text]) => el("span", { class: name }, text))));
  return { row, parts };
}

function fill({ row, parts }, value) {
  write(parts.number, `${value.number}${value.unit}`);
  write(parts.expanded, value.expanded ? ` ± ${value.expanded}${value.unit}` : "");
  write(parts.share, value.largest ? `mostly ${value.largest.source}, ${Math.round(value.largest.share * 100)}\u00a0%` : "");
  row.classList.toggle("used", value.uses.includes(moving()));
  row.classList.toggle("doubtful", value.doubts.length > 0);
  const { verdicts = {}, changes = {} } = store.values;
  const held = verdicts[value.id] ?? [];
  write(parts.limit, held.map((v) => `${v.limit}: ${v.stands === "not resolved" ? "not resolved" : v.noted ? "yes" : "no"} (${v.probability})`).join("; "));
  parts.limit.parentNode.title = held.map((v) => `${v.says} ${v.source}`).join("\n");
  row.classList.toggle("noted", held.some((v) => v.noted));
  const change = changes[value.id];
  write(parts.change, change ? `since ${change.since}: ${change.text}, ${change.verdict}` : "");
  write(parts.doubt, value.doubts.length ? "doubtful" : "");
}

/** The rows in the order they stand in: what moves stands first, so that it is seen on a small screen too. */
function table(values) {
  const list = byId("values").querySelector("dl") ?? el("dl");
  const used = (v) => Number(v.uses.includes(moving()));
  const ordered = moving() ? [...values].sort((a, b) => used(b) - used(a)) : values;
  const wanted = ordered.map((value) => {
    if (!rows.has(value.id)) rows.set(value.id, makeRow(value));
    const made = rows.get(value.id);
    fill(made, value);
    return made.row;
  });
  if (wanted.length !== list.children.length || wanted.some((row, i) => list.children[i] !== row)) list.replaceChildren(...wanted);
  return list;
}

/** What cannot be, or is rare, with what puts it right: it stands above everything else. */
function doubts({ findings, missing, values }) {
  const closed = Boolean(store.photo.closed);
  const act = (text, change) => el("button", { type: "button", disabled: closed, onclick: () => commit(change(store.draft)) }, text);
  const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;
  const found = findings.map((f) => el("li", {}, el("b", {}, sentence(f.what)), ` ${sentence(f.help)}`,
    f.exchange ? el("div", { class: "buttons" }, act("Exchange the two", (draft) => drafts.exchange(draft, ...f.exchange))) : null,
    f.factor ? el("div", { class: "buttons" }, act(f.factor >= 1 ? `Labels times ${f.factor}` : `Labels divided by ${Math.round(1 / f.factor * 100) / 100}`, (draft) => drafts.stretch(draft, f.factor))) : null));
  // One wrong scale makes every length impossible: it is said once.
  const explained = findings.some((f) => f.factor !== null);
  const refused = explained ? [] : missing.filter((m) => m.refused).map((m) => el("li", {}, el("b", {}, m.name), ` ${m.why}. Look at its marks and at the ruler's labels.`));
  const rare = explained ? [] : values.filter((v) => v.doubts.includes("rare_value"))
    .map((v) => el("li", {}, el("b", {}, v.name), ` of ${v.text} is rare. Look at its marks; if the animal is the reason, say what it is: pony, draught horse or foal.`));
  const all = [...found, ...refused, ...rare];
  return all.length ? el("div", { class: "doubts", role: "status" }, el("h3", {}, "Look at this first"), el("ul", {}, all)) : null;
}

/** What stands below the rows, as one text: it is made anew only where it says something else. */
function rest(values) {
  const s = values.scene;
  return {
    scale: `Scale ${s.px_per_mm}; camera ${s.distance} away; ${s.read ? `${s.read} graduations read, ` : "graduations "}off by ${s.rms_px.toFixed(2)} px.`,
    advice: [...new Set(values.values.filter((v) => v.uses.includes(moving())).map((v) => v.advice))].filter(Boolean),
    flags: s.flags,
    missing: values.missing.filter((m) => !m.refused).map((m) => [m.name, m.why]),
  };
}

function below({ scale, advice, flags, missing }) {
  const open = Boolean(byId("values").querySelector("details[open]"));
  return el("div", {},
    el("p", { class: "quiet" }, scale),
    advice.map((a) => el("p", { class: "quiet" }, `To be surer: ${a}.`)),
    flags.map((flag) => el("p", { class: "flag" }, flag)),
    missing.length ? el("details", { open }, el("summary", {}, `${missing.length} more with further marks`),
      el("ul", {}, missing.map(([name, why]) => el("li", {}, el("b", {}, name), ` needs ${why}`)))) : null);
}

let told = null;

function show() {
  const { values } = store;
  const place = byId("values");
  if (!values || values.error) {
    told = null;
    if (!values) return place.replaceChildren();
    const { what, help } = values.error;
    return place.replaceChildren(el("p", { class: "quiet" }, `No values yet: ${what}.`), help && values.error.path ? el("p", { class: "quiet" }, help) : "");
  }
  const list = table(values.values);
  const more = rest(values);
  const text = JSON.stringify([more, values.findings, values.missing, values.values.filter((v) => v.doubts.includes("rare_value")).map((v) => v.text)]);
  if (told === text && list.parentNode === place) return;
  told = text;
  keepFocus(place, () => place.replaceChildren(...[doubts(values), list, below(more)].filter(Boolean)));
}

listen((what) => {
  if (what === "preview") waiting.push(performance.now());
  if (["preview", "draft", "ruler"].includes(what)) askFor();
  if (["values", "choice", "photo"].includes(what)) show();
});
