// What to mark now: its definition, a drawing of where it lies, and what can be said instead of marking it; below, all marks.

import { byId, el, keepFocus, svg, whenFree } from "./dom.js";
import * as drafts from "./draft.js";
import { kindOf, missing, questions, scaleFields } from "./facts.js";
import { accept, acceptAll, offerOf, open as offered, unseeRest } from "./offers.js";
import { decline, find, use } from "./ruler.js";
import { catalogueOf, choose, commit, listen, stateOf, store } from "./store.js";

let page;

/** The drawing of the view with one landmark or line on it. */
function drawing(step) {
  const { drawing: [width, height], views } = store.visit.catalogue;
  const view = views[store.draft.view];
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, class: "drawing", "aria-hidden": "true" },
    ...view.drawing.map((part) => svg("path", { class: part.kind, d: part.d })));
  if (step.spot) {
    const [cx, cy] = step.spot;
    picture.append(svg("circle", { class: "halo", cx, cy, r: 9 }), svg("circle", { class: "spot", cx, cy, r: 4.5 }));
  }
  if (step.path) picture.append(svg(step.closed ? "polygon" : "polyline", { class: "way", points: step.path.map((p) => p.join(",")).join(" ") }));
  return picture;
}

const button = (text, onclick, options = {}) => el("button", { type: "button", disabled: Boolean(store.photo.closed), onclick, ...options }, text);

/** The label of one graduation, to be typed. */
function label(point, index) {
  const kind = kindOf();
  const values = [point.mm].flat();
  const parts = kind.plane ? [values[0], values[1] ?? 0] : [values[0]];
  const inputs = parts.map((value, k) => el("input", {
    type: "text", inputmode: "decimal", id: `mm-${index}-${k}`, value, disabled: Boolean(store.photo.closed),
    "aria-label": `Graduation ${index + 1}, mm${kind.plane ? (k ? " across" : " along") : ""}`,
    onfocus: (e) => {
      e.target.select();
      const mark = { kind: "scale", name: "scale", index };
      if (!drafts.same(store.selected, mark)) choose({ selected: mark });
    },
    onkeydown: (e) => {
      if (e.key !== "Enter") return;
      e.preventDefault();
      e.target.dispatchEvent(new Event("change"));
      if (k + 1 < inputs.length) inputs[k + 1].focus();
      else {
        choose({ selected: null });
        page.focus("photo");
      }
    },
    onchange: () => {
      const typed = inputs.map((i) => Number(i.value.trim().replace(",", ".")));
      if (!typed.every(Number.isFinite)) return;
      const mm = kind.plane ? typed : typed[0];
      const points = drafts.graduations(store.draft);
      commit(drafts.setGraduations(store.draft, points.with(index, { ...points[index], mm })));
    },
  }));
  return el("li", { class: drafts.same(store.selected, { kind: "scale", name: "scale", index }) ? "chosen" : "" },
    inputs, el("span", {}, "mm"),
    button("Remove", () => commit(drafts.setGraduations(store.draft, drafts.graduations(store.draft).toSpliced(index, 1))), { "aria-label": `Remove graduation ${index + 1}` }));
}

/** What was read of the ruler, and what is to become of it. */
function reading() {
  const { answer, busy, reading: seen, refused, of } = store.ruler;
  if (busy) return el("p", { class: "quiet" }, "Reading the ruler…");
  if (refused) return el("p", { class: "quiet" }, `The ruler is not read by itself: ${refused.what}.${refused.help ? ` ${refused.help[0].toUpperCase()}${refused.help.slice(1)}.` : ""}`);
  if (answer === "declined") return el("p", { class: "quiet" }, "Read by your marks alone. That takes a third graduation, for between two the program would read.");
  if (!seen) return null;
  const [first, last] = [seen.lines[0][0], seen.lines.at(-1)[0]];
  const found = `${seen.lines.length} graduations from ${first} to ${last} mm, ${seen.step_mm} mm apart, off by ${seen.rms_px.toFixed(2)} px.`;
  if (answer === "used") {
    return el("div", { class: "offer used" }, el("p", {}, el("b", {}, "Measured with the ruler as it is read: "), found),
      el("div", { class: "buttons" }, button("By my marks alone", decline)));
  }
  return el("div", { class: "offer" },
    el("p", {}, el("b", {}, "Read from the picture: "), found),
    el("p", {}, of ? "Look at the lines drawn over the ruler: do they lie on its graduations, and are the numbers right? Closer to, every line is drawn."
      : "Look at the lines drawn over the ruler: are they millimetres? A rule in tenths of an inch can look like them."),
    el("div", { class: "buttons" }, button("Use them", () => { use(); page.go(1); page.focus("photo"); }, { class: "main" }), button("No, by my marks alone", decline)));
}

/** What stands below the graduations: it changes while a label is typed, and must not take the field away. */
function rulerEnd() {
  const kind = kindOf();
  const points = drafts.graduations(store.draft);
  const { answer, busy, reading: seen } = store.ruler;
  const least = answer === "declined" ? 3 : kind.least;
  const open = answer === "open" && (seen || busy);
  return [
    reading(),
    open && seen ? null : el("div", { class: "buttons" },
      button("Go on", () => page.go(1), { class: "main", disabled: points.length < least || open || Boolean(store.photo.closed) }),
      points.length < least ? el("span", { class: "quiet" }, `${least - points.length} more at least`) : null,
      kind.name === "straight_ruler" && !points.length && !busy ? button("Look for the ruler", find) : null),
  ].filter(Boolean);
}

function ruler() {
  const kind = kindOf();
  const points = drafts.graduations(store.draft);
  return [
    el("p", {}, kind.hint),
    store.photo.copied_from && !points.length ? el("p", { class: "quiet" }, `Kind, class and planes as on ${store.photo.copied_from}.`) : null,
    ...scaleFields(),
    el("ol", { class: "graduations" }, points.map(label)),
    el("div", { id: "ruler-end" }, rulerEnd()),
  ];
}

/** What is offered for this step, and for the others. */
function offer(step) {
  const mine = offerOf(step);
  const all = offered().length;
  if (!mine && !all) return null;
  const how = mine?.at ? `The dashed mark is where ${mine.snapped ? "the edge of the picture runs beside where " : ""}feet of this shape have it. Is it right?`
    : mine ? `The dashed line is ${mine.says}. Does it run right?` : "";
  return el("div", { class: "offer" },
    el("p", {}, mine ? el("b", {}, "Offered: ") : "", mine ? how : `Offered: ${all} marks, drawn dashed. Look at each before you accept them; any can be moved.`),
    el("div", { class: "buttons" },
      mine ? button("Accept it", () => { accept(); page.focus("photo"); }) : null,
      all > (mine && all === 1 ? 1 : 0) ? button(`Accept all ${all}`, () => { acceptAll(); page.focus("photo"); }, { class: "main" }) : null));
}

/** Whether enough is marked that what can be offered is. */
const offersSeen = () => Object.values(store.draft.landmarks ?? {}).filter(Boolean).length > 3;

/** What is left and not offered. */
const rest = () => button("None of the rest can be seen", () => { unseeRest(); page.focus("photo"); });

function landmark(step) {
  const times = drafts.placements(store.draft, step.name);
  const state = drafts.state(store.draft, step);
  return [
    el("div", { class: "explained" }, drawing(step), el("div", {}, el("p", {}, step.definition), step.find ? el("p", { class: "find" }, step.find) : null)),
    offer(step),
    drafts.accepted(store.draft, step.name) ? el("p", { class: "quiet" }, "Accepted as it was offered: its values are less certain than with a mark of your own. Move it, and it is yours.") : null,
    times > 1 ? el("p", { class: "quiet" }, `Placed ${times} times; the mean is shown. Remove it to place it anew.`) : null,
    el("div", { class: "buttons" },
      state === "unseen"
        ? button("It can be seen after all", () => { commit(drafts.empty(store.draft, step)); choose({ active: step }); })
        : [
          button("Skip for now", () => page.skip()),
          state === "placed" ? button("Remove", () => { choose({ selected: { kind: "landmark", name: step.name } }); page.remove(); }) : button("Cannot be seen", () => page.unsee()),
          state !== "placed" && offersSeen() ? rest() : null,
        ]),
  ];
}

function line(step) {
  const points = drafts.linePoints(store.draft, step.name);
  return [
    el("div", { class: "explained" }, drawing(step), el("div", {},
      el("p", {}, step.definition),
      el("p", { class: "find" }, step.closed ? "Click along it, all the way round; it closes by itself." : "Click points along it, in order."))),
    offer(step),
    el("p", { class: "quiet" }, points.length ? `${points.length} points` : "No point yet. Lines are for the values that need them; the angles get surer with them."),
    el("div", { class: "buttons" },
      button("Line is done", () => page.endLine(), { class: "main", disabled: points.length < (step.closed ? 3 : 2) }),
      button("Last point back", () => commit(drafts.setLine(store.draft, step.name, points.slice(0, -1))), { disabled: !points.length }),
      button("Skip for now", () => page.skip()),
      points.length ? null : button("Cannot be seen", () => page.unsee()),
      points.length ? null : rest()),
  ];
}

/** Brings the graduations' fields up to date without taking one away under the hand that types. */
function refresh(body) {
  const points = drafts.graduations(store.draft);
  body.querySelectorAll(".graduations li").forEach((item, index) => {
    item.className = drafts.same(store.selected, { kind: "scale", name: "scale", index }) ? "chosen" : "";
    item.querySelectorAll("input").forEach((input, k) => {
      if (input !== document.activeElement) input.value = [points[index].mm].flat()[k] ?? 0;
    });
  });
  const end = byId("ruler-end");
  keepFocus(end, () => end.replaceChildren(...rulerEnd()));
}

/** What the ruler's fields depend on, besides the labels in them. */
function shape() {
  const { draft, photo } = store;
  return JSON.stringify([photo.id, draft.view, drafts.graduations(draft).length, draft.scale?.kind, draft.scale?.tolerance, draft.side, draft.stage, draft.subject?.foot]);
}

function showNow() {
  const title = byId("now-title");
  const body = byId("now-body");
  if (store.photo.closed || !store.active) body.dataset.shape = "";
  if (store.photo.closed) {
    title.textContent = "Only to look at";
    return body.replaceChildren(el("p", {}, store.photo.closed));
  }
  if (missing().length) {
    title.textContent = "First: what does this photo show?";
    // As long as the same is asked, a name that is being typed stays.
    const asked = `first ${shape()}`;
    if (body.dataset.shape === asked) return null;
    body.dataset.shape = asked;
    return body.replaceChildren(...questions(false));
  }
  const step = catalogueOf(store.active);
  if (!step) {
    const open = store.visit.photos.some((p) => p.state === "new" || p.state === "begun");
    title.textContent = "Everything is marked";
    return body.replaceChildren(
      el("p", {}, "Any mark can still be moved: choose it and drag it, or nudge it with the arrow keys."),
      el("div", { class: "buttons" }, open ? el("button", { type: "button", class: "main", onclick: () => page.nextMissing() }, "Next photo") : el("button", { type: "button", class: "main", onclick: () => page.finish() }, "Measure the visit")));
  }
  title.textContent = step.kind === "scale" ? kindOf().title : step.title;
  if (step.kind === "scale" && body.dataset.shape === shape()) return refresh(body);
  const parts = { scale: ruler, landmark, line }[step.kind](step);
  // Said late, these do no harm; asked early, they are answered.
  body.dataset.shape = step.kind === "scale" ? shape() : "";
  body.replaceChildren(...parts.filter(Boolean), ...(step.kind === "scale" ? questions(false) : []));
}

const WORDS = { placed: "placed", open: "to do", unseen: "cannot be seen" };

function showSteps() {
  const groups = [["scale", "Scale"], ["landmark", "Landmarks"], ["line", "Lines, where wanted"]];
  const steps = drafts.steps(store.draft, store.visit.catalogue).filter((s) => !(store.visit.repeat && s.kind === "line"));
  byId("steps").replaceChildren(...groups.map(([kind, heading]) => {
    const items = steps.filter((s) => s.kind === kind).map((s) => {
      const state = stateOf(s);
      const now = store.active?.kind === s.kind && store.active.name === s.name;
      return el("li", {}, el("button", { type: "button", class: `step ${state}`, "aria-current": now ? "step" : undefined, "data-step": s.name, "data-key": `${s.kind} ${s.name}`, onclick: () => { page.choose(s); byId("now").scrollIntoView({ block: "start" }); } },
        el("span", { class: "mark", "aria-hidden": "true" }), el("span", {}, s.kind === "scale" ? kindOf().title : s.title), el("span", { class: "state" }, WORDS[state])));
    });
    return items.length ? el("div", {}, el("h3", {}, heading), el("ul", {}, items)) : "";
  }));
}

export function openPanel(its) {
  page = its;
  listen((what) => {
    if (!store.photo || !["photo", "draft", "choice", "ruler", "offers"].includes(what)) return;
    whenFree("now", () => keepFocus(byId("now-body"), showNow));
    whenFree("steps", () => keepFocus(byId("steps"), showSteps));
  });
}
