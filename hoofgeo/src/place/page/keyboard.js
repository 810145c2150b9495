// The keyboard on the photo: single keys count only while the photo has the focus.

import * as drafts from "./draft.js";
import { speak } from "./dom.js";
import { choose, commit, nextOpen, redo, store, undo } from "./store.js";

export const KEYS = [
  ["Arrow keys", "move the cross, or the chosen mark, by 1 photo pixel"],
  ["Shift, Ctrl or Alt with them", "by 10, 100 or 0.1 pixels"],
  ["Enter or Space", "place the mark at the cross; once more: go on to the next"],
  ["Delete", "take the chosen mark away"],
  ["Escape", "choose nothing"],
  ["A", "accept what is offered for it: the ruler as it is read, a mark, a line"],
  ["Shift A", "accept all that is offered on this photo"],
  ["N, P", "next, previous thing to mark"],
  ["S, U", "skip it for now; say that it cannot be seen"],
  ["Shift U", "say so of all that is still asked for"],
  ["G", "next photo with something missing"],
  ["M", "choose the next mark that is placed"],
  ["E", "end a line"],
  ["+, -, 0", "zoom in, out, whole photo"],
  ["Page Up, Page Down", "previous, next photo"],
  ["Ctrl Z, Ctrl Y", "undo, redo"],
  ["F6", "from the photo to the panel and back"],
  ["C", "the contact sheet, and back"],
  ["?", "these keys, from everywhere"],
];

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export class Keyboard {
  constructor(canvas, page) {
    Object.assign(this, { page });
    canvas.addEventListener("keydown", (e) => this.photo(e));
    canvas.addEventListener("focus", () => page.draw());
    canvas.addEventListener("blur", () => { page.magnifier.hide(); page.draw(); });
    document.addEventListener("keydown", (e) => this.anywhere(e));
  }

  anywhere(event) {
    if (!store.photo || event.defaultPrevented || document.querySelector("dialog[open]")) return;
    const key = event.key.toLowerCase();
    const sheet = document.body.classList.contains("sheeting");
    if (sheet && event.key !== "?") return;
    if ((event.ctrlKey || event.metaKey) && !event.altKey && (key === "z" || key === "y")) {
      if (event.target.matches("input, textarea")) return;
      event.preventDefault();
      if (key === "y" || event.shiftKey) redo();
      else undo();
    } else if (event.key === "?" && !event.target.matches("input, textarea")) {
      event.preventDefault();
      this.page.help();
    } else if (event.key === "F6") {
      event.preventDefault();
      this.page.focus(document.activeElement?.id === "photo" ? "panel" : "photo");
    }
  }

  photo(event) {
    const { page } = this;
    if (!store.photo) return;
    const arrow = ARROWS[event.key];
    const held = event.ctrlKey || event.metaKey || event.altKey;
    if (arrow) {
      event.preventDefault();
      const by = event.altKey ? 0.1 : event.shiftKey ? 10 : event.ctrlKey || event.metaKey ? 100 : 1;
      return this.nudge(arrow[0] * by, arrow[1] * by);
    }
    const does = {
      Enter: () => this.enter(), " ": () => this.enter(),
      Delete: () => page.remove(), Backspace: () => page.remove(),
      Escape: () => choose({ selected: null }),
      n: () => page.go(1), p: () => page.go(-1), s: () => page.skip(), u: () => (event.shiftKey ? page.unseeRest() : page.unsee()), a: () => (event.shiftKey ? page.acceptAll() : page.accept()),
      g: () => page.nextMissing(), e: () => page.endLine(),
      m: () => this.nextMark(),
      "+": () => page.zoom(1.5), "=": () => page.zoom(1.5), "-": () => page.zoom(1 / 1.5), 0: () => page.fit(),
      PageUp: () => page.turn(-1), PageDown: () => page.turn(1),
      c: () => page.sheet(),
    }[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!does || held) return;
    event.preventDefault();
    does();
  }

  nudge(dx, dy) {
    const { page } = this;
    page.byKeyboard(true);
    if (store.selected && !store.photo.closed) {
      const at = drafts.at(store.draft, store.selected);
      if (store.selected.kind === "landmark" && drafts.placements(store.draft, store.selected.name) > 1) {
        return speak("This landmark was placed several times: delete it to place it anew.");
      }
      const to = drafts.point(at[0] + dx, at[1] + dy, store.photo);
      const { kind, name, index } = store.selected;
      commit(drafts.move(store.draft, store.selected, to), `nudge ${kind} ${name} ${index ?? 0}`);
      page.follow(to);
    } else {
      page.moveCursor(dx, dy);
    }
  }

  enter() {
    const { page } = this;
    page.byKeyboard(true);
    if (!store.selected) return page.mark(page.cursor, "keyboard");
    page.cursor = drafts.at(store.draft, store.selected);
    choose({ selected: null, active: store.active ?? nextOpen(null) });
    page.follow(page.cursor);
    page.sayActive();
  }

  nextMark() {
    const all = drafts.marks(store.draft);
    if (!all.length) return;
    const now = all.findIndex((m) => drafts.same(m, store.selected));
    const selected = all[(now + 1) % all.length];
    choose({ selected });
    this.page.follow(drafts.at(store.draft, selected));
    this.page.saySelected();
  }
}
