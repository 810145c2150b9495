// The page: the photo, what is done on it, the list of photos, dialogs.

import { picture, post, Refused } from "./api.js";
import { ask, byId, el, keepFocus, speak, whenFree } from "./dom.js";
import * as drafts from "./draft.js";
import { kindOf, missing } from "./facts.js";
import { Keyboard, KEYS } from "./keyboard.js";
import { Magnifier } from "./magnifier.js";
import { cross, draw, graduations, offers } from "./marks.js";
import { accept, acceptAll, unseeRest } from "./offers.js";
import { openPanel } from "./panel.js";
import { Pointer } from "./pointer.js";
import { use as useRuler } from "./ruler.js";
import * as contact from "./sheet.js";
import { catalogueOf, choose, commit, listen, nextOpen, openPhoto, openVisit, redo, settle, stateOf, store, tell, undo } from "./store.js";
import { Tiles } from "./tiles.js";
import { took } from "./values.js";
import { View } from "./view.js";

class Page {
  constructor() {
    this.canvas = byId("photo");
    this.view = new View();
    this.magnifier = new Magnifier(byId("stage"));
    this.tiles = null;
    this.cursor = [0, 0];
    this.keyboard = false;
    this.pointer = new Pointer(this.canvas, this);
    new Keyboard(this.canvas, this);
    new ResizeObserver(() => this.resized()).observe(byId("stage"));
  }

  resized() {
    const { clientWidth: width, clientHeight: height } = byId("stage");
    if (!width || !height) return;
    this.density = Math.min(window.devicePixelRatio || 1, 2);
    this.ground = getComputedStyle(this.canvas).backgroundColor;
    this.canvas.width = width * this.density;
    this.canvas.height = height * this.density;
    this.view.resize(width, height);
    this.render();
  }

  draw() {
    this.due ??= requestAnimationFrame(() => { this.due = null; this.render(); });
  }

  render() {
    const context = this.canvas.getContext("2d");
    const { width, height } = this.view;
    context.setTransform(this.density, 0, 0, this.density, 0, 0);
    context.fillStyle = this.ground;
    context.fillRect(0, 0, width, height);
    if (!store.photo || !this.tiles) return;
    this.whole = this.tiles.draw(context, this.view, width, height, this.density);
    graduations(context, this.view);
    offers(context, this.view);
    draw(context, this.view);
    const crossed = this.keyboard && !store.selected && document.activeElement === this.canvas;
    if (crossed) cross(context, this.view.toScreen(this.cursor));
    if (this.keyboard && document.activeElement === this.canvas) {
      const at = store.selected ? drafts.at(store.draft, store.selected) : this.cursor;
      if (at) this.magnifier.show(at, this.view.toScreen(at), false);
    }
    this.magnifier.render(this.view, this.tiles, this.density);
  }

  byKeyboard(on) {
    this.keyboard = on;
    if (!on) this.magnifier.hide();
  }

  /** The mouse over the photo while something is to be marked: what exactly lies under it. */
  hover(at) {
    if (this.keyboard && !at) return;
    if (at && store.active && !missing().length && !store.photo.closed) this.magnifier.show(this.view.toPhoto(at), at, false);
    else this.magnifier.hide();
    this.draw();
  }

  moveCursor(dx, dy) {
    this.cursor = drafts.point(this.cursor[0] + dx, this.cursor[1] + dy, store.photo);
    this.follow(this.cursor);
  }

  follow(at) {
    this.view.show(at);
    this.draw();
  }

  /** Marks what is asked for at a point of the photo. */
  mark([x, y], how) {
    const { active, photo, draft } = store;
    if (photo.closed || x < 0 || y < 0 || x > photo.width || y > photo.height) return;
    if (missing().length) return speak("Say first which foot this is and from where it is seen.");
    if (!active) return speak("Everything is marked. Choose a mark in the list to place it anew.");
    const at = drafts.point(x, y, photo);
    this.cursor = at;
    if (active.kind === "scale") return this.graduate(at, how);
    if (active.kind === "line") {
      const points = [...drafts.linePoints(draft, active.name), at];
      commit(drafts.setLine(draft, active.name, points));
      // By keyboard the next point is gone to from here; with the mouse it can be nudged.
      return choose({ selected: how === "keyboard" ? null : { kind: "line", name: active.name, index: points.length - 1 } });
    }
    if (drafts.placements(draft, active.name) > 1) return speak("This landmark was placed several times: remove it to place it anew.");
    commit(drafts.place(draft, active.name, at));
    choose({ selected: { kind: "landmark", name: active.name }, active: nextOpen(active) });
    this.saySelected();
  }

  graduate(at, how) {
    const points = drafts.graduations(store.draft);
    const kind = kindOf();
    if (kind.corners.length && points.length >= kind.corners.length) return speak("All four corners are marked.");
    let mm = drafts.nextLabel(points, at, kind);
    const taken = (label) => points.some((p) => String([p.mm].flat()) === String([label].flat()));
    while (taken(mm)) mm = kind.plane ? [mm[0] + 5, mm[1]] : mm + 5;
    const index = points.length;
    commit(drafts.setGraduations(store.draft, [...points, { mm, at }]));
    choose({ selected: { kind: "scale", name: "scale", index } });
    // The label is looked at at once; a finger is spared the screen's keyboard.
    if (how !== "touch") byId(`mm-${index}-0`)?.focus();
    speak(`Graduation marked as ${[mm].flat().join(", ")} mm`);
  }

  remove() {
    const mark = store.selected;
    if (!mark) return;
    commit(drafts.remove(store.draft, mark));
    choose({ selected: null, active: { kind: mark.kind, name: mark.name } });
    speak("Removed");
  }

  choose(step) {
    const at = step.kind === "landmark" ? drafts.landmarkAt(store.draft, step.name) : null;
    const selected = at ? { kind: "landmark", name: step.name } : null;
    choose({ active: { kind: step.kind, name: step.name }, selected });
    if (at) this.follow(at);
    this.sayActive();
  }

  go(by) {
    const steps = drafts.steps(store.draft, store.visit.catalogue).filter((s) => stateOf(s) === "open" || s.name === store.active?.name);
    if (!steps.length) return;
    const now = steps.findIndex((s) => s.kind === store.active?.kind && s.name === store.active.name);
    const step = steps[(now + by + steps.length) % steps.length];
    choose({ active: { kind: step.kind, name: step.name }, selected: null });
    this.sayActive();
  }

  skip() {
    choose({ active: nextOpen(store.active), selected: null });
    this.sayActive();
  }

  unsee() {
    const { active } = store;
    if (!active || active.kind === "scale" || stateOf(active) !== "open") return;
    const next = nextOpen(active);
    commit(drafts.unsee(store.draft, active));
    choose({ active: next && next.name === active.name ? null : next, selected: null });
    this.sayActive();
  }

  endLine() {
    if (store.active?.kind !== "line") return;
    choose({ active: nextOpen(store.active), selected: null });
    this.sayActive();
  }

  sayActive() {
    const step = catalogueOf(store.active);
    speak(step ? `${step.kind === "scale" ? kindOf().title : step.title}. ${step.definition ?? ""} ${step.find ?? ""}` : "Everything is marked.");
  }

  saySelected() {
    const { selected } = store;
    const [x, y] = drafts.at(store.draft, selected);
    const name = selected.kind === "scale" ? `Graduation ${selected.index + 1}` : catalogueOf(selected)?.title ?? selected.name;
    speak(`${name} at ${x.toFixed(1)}, ${y.toFixed(1)}`);
  }

  zoom(factor) {
    const at = store.selected ? drafts.at(store.draft, store.selected) : this.keyboard ? this.cursor : null;
    this.view.zoom(factor, at ? this.view.toScreen(at) : [this.view.width / 2, this.view.height / 2]);
    if (at) this.view.show(at);
    this.draw();
  }

  fit() {
    this.view.fit();
    this.draw();
  }

  focus(where) {
    if (where === "photo") this.canvas.focus();
    else (byId("panel").querySelector(".offer:not(.used) button") ?? byId("panel").querySelector("#now button, #now input, #now select") ?? byId("panel").querySelector("button"))?.focus();
  }

  async turn(by) {
    const { photos } = store.visit;
    if (store.photo) await this.open((store.photo.id + by + photos.length) % photos.length);
  }

  async open(id) {
    try {
      await openPhoto(id);
    } catch (error) {
      const photo = store.visit.photos[id];
      notice(`${photo.name}: ${error.message}${error.error?.help ? `. ${error.error.help}` : ""}`);
      speak(byId("notice").textContent);
    }
  }

  nextMissing() {
    const { photos } = store.visit;
    const from = (store.photo?.id ?? -1) + 1;
    const next = [...photos.slice(from), ...photos.slice(0, from)].find((p) => p.state === "new" || p.state === "begun");
    if (next) this.open(next.id).then(() => this.focus("photo"));
    else speak("Nothing is missing on any photo.");
  }

  /** Accepts what is offered: the ruler, else the mark that is asked for. */
  accept() {
    if (store.ruler.answer === "open" && store.ruler.reading) {
      useRuler();
      return this.go(1);
    }
    return accept();
  }

  acceptAll() {
    acceptAll();
  }

  unseeRest() {
    unseeRest();
  }

  closeList() {
    openList(false);
  }

  sheet() {
    contact.toggle();
  }

  help() {
    if (contact.isOpen()) return contact.help();
    ask("Keys", el("dl", { class: "keys" }, KEYS.flatMap(([key, does]) => [el("dt", {}, key), el("dd", {}, does)])), [{ text: "Close", value: null, main: true }]);
  }

  async finish() {
    const { photos, results } = store.visit;
    const open = photos.filter((p) => p.state !== "done").length;
    const question = [el("p", {}, `The values, their uncertainties, a picture of each photo and the visit's report are written to ${results}.`)];
    if (open) question.push(el("p", {}, `${open} of ${count(photos.length, "photo")} ${open === 1 ? "is" : "are"} not finished; what is marked on them is measured as far as it goes.`));
    const name = el("input", { type: "text", id: "finish-animal", autocomplete: "off" });
    if (photos.some((p) => p.nameless)) {
      question.push(el("div", { class: "field" }, el("label", { for: "finish-animal" }, "Animal"), name,
        el("small", {}, "It is named on no photo yet, or not on all; the report needs the name. It is written into the sidecars that have none.")));
    }
    if (await ask("Measure the visit", question, [{ text: "Measure", value: true, main: true }, { text: "Not yet", value: null }]) !== true) return;
    speak("Measuring");
    notice("Measuring…");
    try {
      const done = await post("finish", { animal: name.value.trim() || null });
      notice("");
      if (name.value.trim()) {
        await openVisit();
        await openPhoto(store.photo.id);
      }
      const pictures = el("div", { class: "pictures" });
      for (const photo of done.photos.filter((p) => p.picture)) {
        picture(`photo/${photo.id}/picture`).then((blob) => {
          const url = URL.createObjectURL(blob);
          pictures.append(el("figure", {}, el("a", { href: url, target: "_blank", rel: "noopener" }, el("img", { src: url, alt: `${photo.name} with its values` })), el("figcaption", {}, `${photo.name}: ${photo.values} values`)));
        });
      }
      const read = done.photos.filter((p) => p.read).length;
      // They stay at hand when this message is closed.
      if (done.report) byId("visit-reports").replaceChildren(reports(done.report));
      await ask("Measured", [
        el("p", {}, `${count(done.measured, "photo")} measured, ${done.refused.length} refused. Everything is in ${done.folder}: measurements.csv, measurements.json, pictures.`),
        read ? el("p", {}, `On ${count(read, "photo")} the ruler was read from the picture, between its two marks.`) : null,
        done.refused.length ? el("ul", {}, done.refused.map((r) => el("li", {}, `${r.file ?? ""}: ${r.what}`))) : null,
        done.report ? reports(done.report) : el("p", {}, "Pictures and report are not shown while landmarks are placed once more: they would show the earlier placements."),
        pictures,
      ].filter(Boolean), [{ text: "Close", value: null, main: true }]);
    } catch (error) {
      notice(`The visit could not be measured: ${error.message}${error.error?.help ? `. ${error.error.help}` : ""}`);
    }
  }
}

const count = (n, what) => `${n} ${what}${n === 1 ? "" : "s"}`;

/** The visit's pages, each in a window of its own. */
function reports({ pages, why }) {
  if (!pages.length) return el("p", { class: "quiet" }, `No report could be written: ${why?.what ?? "nothing was measured"}.${why?.help ? ` ${why.help}.` : ""}`);
  const link = ({ href, owner, file }) => el("li", {}, el("a", { class: "report", href, target: "_blank", rel: "noopener noreferrer" },
    owner ? "Sheet for the owner" : "Report for the files", el("small", {}, file)));
  return el("ul", { class: "reports" }, pages.map(link));
}

function notice(text) {
  byId("notice").textContent = text;
  byId("notice").hidden = !text;
}

const STATES = { new: "nothing marked", begun: "begun", done: "done", refused: "cannot be opened" };

function showVisit() {
  const { visit, photo } = store;
  byId("visit-name").textContent = [visit.folder, visit.observer && `placed by ${visit.observer}`, visit.repeat && "placing once more"].filter(Boolean).join(" · ");
  byId("photos").replaceChildren(...visit.photos.map((p) => {
    const facts = [p.foot, p.view, p.stage?.replace("_", " ")].filter(Boolean).join(" · ");
    const todo = [(p.marks < 2 || p.unsettled) && "ruler or line", p.open && `${p.open} open`].filter(Boolean).join(", ");
    const state = p.state === "begun" ? todo || "begun" : STATES[p.state];
    return el("li", {}, el("button", { type: "button", class: `photo ${p.state}`, "data-key": String(p.id), "aria-current": p.id === photo?.id ? "true" : undefined, onclick: async () => { openList(false); if (contact.isOpen()) await contact.toggle(false); page.open(p.id); } },
      el("span", { class: "name" }, p.name), el("span", { class: "facts" }, facts), el("span", { class: "state" }, state)));
  }));
}

function openList(open) {
  byId("visit").classList.toggle("open", open);
  byId("open-visit").setAttribute("aria-expanded", String(open));
}

let asked = false;

async function showSaving() {
  const { saving, problem } = store;
  const words = { saved: "Saved", saving: "Saving…", unsent: "Not saved", conflict: "Conflict", refused: "Not saved" };
  // What the sidecar cannot hold yet is kept beside it.
  byId("saved").textContent = saving === "saved" && problem ? "Kept" : words[saving];
  // A question that is asked on the panel needs no second word.
  const said = problem && saving !== "refused" && store.ruler.answer !== "open";
  byId("now-problem").textContent = said ? `Not in the sidecar yet: ${problem.what}.` : "";
  byId("now-problem").hidden = !said;
  byId("saved").dataset.state = saving;
  if (saving === "unsent") notice("The program does not answer. Your marks are kept in this browser and are saved when it runs again.");
  else if (saving === "refused") notice(`Not saved: ${problem?.what ?? ""}${problem?.help ? `. ${problem.help}` : ""}`);
  else notice("");
  if (saving !== "conflict" || asked) return;
  asked = true;
  const choice = await ask("Another program has changed this sidecar",
    el("p", {}, "While you were marking, the sidecar of this photo was changed outside of this page. It is not written over."),
    [{ text: "Take theirs", value: "theirs", main: true }, { text: "Keep mine beside it, take theirs", value: "both" }]);
  asked = false;
  const { aside } = store;
  store.aside = null;
  const file = await settle(choice !== "theirs");
  const told = [file && `Your marks are in ${file}, beside the photo.`, aside && `An earlier version of theirs is in ${aside}, beside the photo.`];
  if (told.some(Boolean)) notice(told.filter(Boolean).join(" "));
}

function showPhoto() {
  const { photo, draft } = store;
  byId("photo-name").textContent = photo.name;
  page.tiles?.close();
  page.tiles = new Tiles(photo, store.visit.tile, () => page.draw());
  page.view.photo = photo;
  page.view.fit();
  page.cursor = [photo.width / 2, photo.height / 2];
  byId("facts").open = false;
  showFacts(draft);
  page.draw();
  // The next photo is made ready while this one is marked.
  const next = store.visit.photos[photo.id + 1];
  if (next) setTimeout(() => store.photo === photo && picture(`photo/${next.id}/tile/0/0/0`).catch(() => {}), 2000);
}

function showFacts(draft) {
  const { catalogue } = store.visit;
  const of = (list, name) => list.find((x) => x.name === name)?.title.toLowerCase();
  const foot = draft.subject?.foot ?? store.photo.shared?.subject?.foot;
  byId("photo-facts").textContent = [
    draft.subject?.animal ?? store.photo.shared?.subject?.animal,
    of(catalogue.feet, foot), catalogue.views[draft.view]?.title.toLowerCase(), draft.side && `${draft.side} side`, of(catalogue.stages, draft.stage),
  ].filter(Boolean).join(" · ");
  byId("undo").disabled = !store.past.length;
  byId("redo").disabled = !store.future.length;
}

function theme(name) {
  if (name) document.documentElement.dataset.theme = name;
  const dark = (document.documentElement.dataset.theme ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  const other = dark ? "light" : "dark";
  const button = byId("theme");
  button.dataset.other = other;
  button.setAttribute("aria-label", `${dark ? "Light" : "Dark"} colours`);
  button.querySelector(".word").textContent = dark ? "Light" : "Dark";
  if (name) localStorage.setItem("hoofgeo-theme", name);
  page.resized();
}

const page = new Page();
openPanel(page);
listen((what) => {
  if (!store.visit) return;
  if (what === "photo") showPhoto();
  if (["photo", "visit"].includes(what)) whenFree("visit", () => keepFocus(byId("photos"), showVisit));
  if (["photo", "draft"].includes(what)) showFacts(store.draft);
  if (["photo", "saving", "ruler"].includes(what)) showSaving();
  if (what === "followed") speak("Changed in another window; shown as it is now.");
  page.draw();
});
for (const [id, does] of [
  ["undo", undo], ["redo", redo], ["zoom-in", () => page.zoom(1.5)], ["zoom-out", () => page.zoom(1 / 1.5)], ["zoom-fit", () => page.fit()],
  ["show-help", () => page.help()], ["finish", () => page.finish()], ["next-missing", () => page.nextMissing()],
  ["open-visit", () => openList(!byId("visit").classList.contains("open"))],
  ["theme", () => theme(byId("theme").dataset.other)],
]) byId(id).addEventListener("click", does);
theme(localStorage.getItem("hoofgeo-theme"));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => theme(document.documentElement.dataset.theme));

/** For tests and the curious: what the page shows, and how fast. */
globalThis.hoofgeo = { store, page, took, tell };

try {
  await openVisit();
  globalThis.hoofgeo.contact = contact.openSheet(page);
  const first = store.visit.photos.find((p) => p.state === "new" || p.state === "begun") ?? store.visit.photos[0];
  await page.open(first.id);
  if (contact.wanted()) await contact.toggle(true);
} catch (error) {
  notice(error instanceof Refused ? error.message : "The program does not answer. Start `hoofgeo place` again and open the address that it prints.");
}
