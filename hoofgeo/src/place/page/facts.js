// What the photo shows and how it was taken: large buttons for what is asked of every photo, fields for the rest.

import { post } from "./api.js";
import { byId, el, keepFocus, speak, whenFree } from "./dom.js";
import * as drafts from "./draft.js";
import { choose, commit, listen, nextOpen, store } from "./store.js";

/** What the draft says, else what its visit says for all photos. */
const said = (path) => path.reduce((v, k) => v?.[k], store.draft) ?? path.reduce((v, k) => v?.[k], store.photo.shared) ?? null;

/** What every photo has to say before anything is marked on it. */
export const missing = () => [["view"], ["subject", "foot"]].filter((path) => said(path) === null);

function choice(title, path, options, apply = (value) => commit(drafts.set(store.draft, path, value))) {
  const now = said(path);
  const buttons = options.map((o) => el("button", {
    type: "button", "aria-pressed": String(now === o.name), disabled: Boolean(store.photo.closed), "data-choice": o.name,
    "data-key": `${path.join(".")} ${o.name}`,
    onclick: async (event) => {
      const first = byId("now").contains(event.currentTarget) && missing().length;
      await apply(o.name);
      // What was asked first is answered: on to the next question, or to the photo.
      if (first) (missing().length ? byId("now").querySelector("button") : byId("photo"))?.focus();
    },
  }, o.title));
  return el("fieldset", { class: "choice" }, el("legend", {}, title), el("div", { class: "buttons" }, buttons));
}

async function chooseView(view) {
  if (view === store.draft.view) return;
  commit(drafts.setView(store.draft, view, store.visit.catalogue));
  choose({ active: nextOpen(null), selected: null });
}

/** The questions that are still open, and on request all of them. */
export function questions(all) {
  const { catalogue } = store.visit;
  const placed = drafts.marks(store.draft).some((m) => m.kind !== "scale");
  const views = Object.entries(catalogue.views).map(([name, v]) => ({ name, title: v.title }));
  const open = (path) => all || said(path) === null;
  return [
    open(["subject", "foot"]) && choice("Which foot", ["subject", "foot"], catalogue.feet),
    (open(["view"]) && !(placed && store.draft.view)) && choice("Seen from where", ["view"], views, chooseView),
    store.draft.view !== "solar" && open(["side"]) && choice("Which side faces the camera", ["side"], catalogue.sides),
    open(["stage"]) && choice("When", ["stage"], catalogue.stages),
    all && choice("What animal, where its feet are no riding horse's", ["subject", "kind"], catalogue.animals),
    !all && said(["subject", "animal"]) === null && field("Animal", ["subject", "animal"], { id: "now-animal", hint: "for the results; the photos after this one take it over" }),
  ].filter(Boolean);
}

function field(title, path, { unit = "", type = "text", hint = "", disabled = false, id = `field-${path.join("-")}`, apply = (value) => drafts.set(store.draft, path, value) } = {}) {
  const input = el("input", {
    id, type: "text", inputmode: type === "number" ? "decimal" : undefined, value: said(path) ?? "", disabled: disabled || Boolean(store.photo.closed),
    onchange: () => {
      const typed = input.value.trim().replace(",", ".");
      const value = typed === "" ? null : type === "number" ? Number(typed) : input.value.trim();
      if (type === "number" && value !== null && !Number.isFinite(value)) {
        input.setCustomValidity("a number");
        input.reportValidity();
        return;
      }
      input.setCustomValidity("");
      commit(apply(value));
    },
  });
  return el("div", { class: "field" }, el("label", { for: id }, title), input, unit && el("span", {}, unit), hint && el("small", {}, hint));
}

export const kindOf = () => store.visit.catalogue.kinds.find((k) => k.name === (said(["scale", "kind"]) ?? "straight_ruler"));

/** Which scale lies in the photo, and how well it keeps its lengths. */
export function scaleFields() {
  const { kinds, classes } = store.visit.catalogue;
  const kind = kindOf();
  const select = (id, title, options, now, change) => {
    const box = el("select", { id, disabled: Boolean(store.photo.closed), onchange: () => change(box.value) },
      options.map(([value, text]) => el("option", { value, selected: value === now }, text)));
    return el("div", { class: "field" }, el("label", { for: id }, title), box);
  };
  const tolerance = said(["scale", "tolerance"]);
  const own = tolerance && "u_rel" in tolerance ? [["own", `relative ${tolerance.u_rel}`]] : [];
  return [
    select("scale-kind", "Kind of scale", kinds.map((k) => [k.name, k.title]), kind.name, (name) => {
      // Labels of another kind of scale mean something else.
      const points = kinds.find((k) => k.name === name).plane === kind.plane ? drafts.graduations(store.draft) : [];
      commit(drafts.set(drafts.setGraduations(store.draft, points), ["scale", "kind"], name));
    }),
    select("scale-class", "Accuracy class printed on it", [["", "not stated"], ...classes.map((c) => [c, c]), ...own],
      tolerance ? tolerance.class ?? "own" : "", (c) => c !== "own" && commit(drafts.set(store.draft, ["scale", "tolerance"], c ? { class: c } : null))),
  ];
}

async function copy() {
  const { draft, from } = await post(`photo/${store.photo.id}/set_up`, { draft: store.draft });
  if (!from) return speak("No earlier photo of this folder says anything of its scale.");
  commit(draft);
  speak(`Scale, lens and planes as on ${from}`);
}

function planes() {
  const { view } = store.draft;
  const behind = (plane, title) => [
    field(`${title} lies behind the scale`, ["planes", plane, "behind_scale_mm"], { type: "number", unit: "mm" }),
    field("known to", ["planes", plane, "u_mm"], { type: "number", unit: "mm" }),
  ];
  return [
    ...behind("measured", view === "solar" ? "The bearing plane" : "The foot's midline"),
    ...(view === "lateral" ? behind("near_heel", "The near heel") : view === "solar" ? behind("sole", "The sole") : []),
    el("p", { class: "quiet" }, "Nearer to the camera than the scale is negative."),
  ];
}

/** What a gauge read on the foot itself: it enters one value, beside what is marked. */
function gauge() {
  if (store.draft.view !== "lateral") return [];
  const path = ["gauge", "heel_above_sole_plane_mm"];
  const read = said(path);
  const given = read?.medial !== undefined || read?.lateral !== undefined;
  const heel = (side) => field(`${side === "medial" ? "Medial" : "Lateral"} heel`, [...path, side], { type: "number", unit: "mm", apply: (value) => {
    const others = { ...read, [side]: value ?? undefined };
    // An uncertainty of nothing says nothing.
    const none = others.medial === undefined && others.lateral === undefined;
    return none ? drafts.set(store.draft, ["gauge"], null) : drafts.set(store.draft, [...path, side], value);
  } });
  return [el("fieldset", { class: "choice gauge" }, el("legend", {}, "Heel above the sole plane, by a gauge"),
    heel("medial"), heel("lateral"),
    field("Standard uncertainty of each", [...path, "u_mm"], { type: "number", unit: "mm", disabled: !given, hint: given ? "" : "asked once a height is given" }))];
}

function show() {
  const body = byId("facts-body");
  // Not under the hand that is typing.
  if (body.contains(document.activeElement) && document.activeElement.matches("input")) return;
  keepFocus(body, () => body.replaceChildren(
    ...questions(true),
    field("Animal", ["subject", "animal"]),
    ...scaleFields().map((f) => { f.querySelectorAll("[id]").forEach((e) => { e.id = `facts-${e.id}`; }); f.querySelector("label").htmlFor = `facts-${f.querySelector("label").htmlFor}`; return f; }),
    ...planes(),
    ...gauge(),
    field("Lens profile", ["lens"], { hint: "a file NAME.lens.json, from the folder of the photo" }),
    field("Notes", ["notes"]),
    el("button", { type: "button", disabled: Boolean(store.photo.closed), onclick: copy }, "Copy scale, lens and planes from the photo before"),
    ...store.photo.remarks.map((r) => el("p", { class: "flag" }, r))));
}

listen((what) => ["photo", "draft"].includes(what) && whenFree("facts", show));
