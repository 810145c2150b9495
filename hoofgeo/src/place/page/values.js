// The values, live: asked for while a mark moves, one question at a time, always of the newest draft.

import { post } from "./api.js";
import { byId, el, keepFocus } from "./dom.js";
import { listen, store, tell } from "./store.js";

let asking = false;

/** How long answers took, ms: for whoever wants to know. */
export const took = [];

async function askFor() {
  if (asking) return;
  asking = true;
  try {
    let of = null;
    while (of !== store.draft) {
      of = store.draft;
      const { id } = store.photo;
      const from = performance.now();
      const values = await post(`photo/${id}/values`, { draft: of });
      took.push(performance.now() - from);
      if (took.length > 1000) took.shift();
      if (store.photo.id === id) store.values = values;
      tell("values");
    }
  } catch { /* the program is gone: saving says so */ } finally {
    asking = false;
  }
}

/** The name of the mark that is moving or chosen, as values name what they use. */
const moving = () => (store.selected?.kind === "scale" ? null : store.selected?.name);

function row(value) {
  const used = value.uses.includes(moving());
  const share = value.largest ? `mostly ${value.largest.source}, ${Math.round(value.largest.share * 100)} %` : "";
  return el("div", { class: used ? "value used" : "value", "data-id": value.id },
    el("dt", { title: value.definition }, value.name),
    el("dd", {},
      el("span", { class: "number" }, `${value.number}${value.unit}`),
      value.expanded ? el("span", { class: "expanded" }, ` ± ${value.expanded}${value.unit}`) : null,
      el("span", { class: "share" }, share)));
}

function show() {
  const { values } = store;
  if (!values) return byId("values").replaceChildren();
  if (values.error) {
    const { what, help } = values.error;
    return byId("values").replaceChildren(el("p", { class: "quiet" }, `No values yet: ${what}.`), help && values.error.path ? el("p", { class: "quiet" }, help) : "");
  }
  const rows = values.values.map(row);
  // What moves stands first, so that it is seen on a small screen too.
  if (moving()) rows.sort((a, b) => b.classList.contains("used") - a.classList.contains("used"));
  const missing = values.missing.map((m) => el("li", {}, el("b", {}, m.name), ` needs ${m.why}`));
  const advice = [...new Set(values.values.filter((v) => v.uses.includes(moving())).map((v) => v.advice))].filter(Boolean);
  const s = values.scene;
  byId("values").replaceChildren(
    el("dl", {}, rows),
    el("p", { class: "quiet" }, `Scale ${s.px_per_mm}; camera ${s.distance} away; graduations off by ${s.rms_px.toFixed(2)} px.`),
    ...advice.map((a) => el("p", { class: "quiet" }, `To be surer: ${a}.`)),
    ...s.flags.map((flag) => el("p", { class: "flag" }, flag)),
    missing.length ? el("details", { open: Boolean(byId("values").querySelector("details[open]")) }, el("summary", {}, `${missing.length} more with further marks`), el("ul", {}, missing)) : "");
}

listen((what) => {
  if (what === "preview" || what === "draft") askFor();
  if (["values", "choice", "photo"].includes(what)) keepFocus(byId("values"), show);
});
