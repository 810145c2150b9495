// Mouse, pen and fingers on the photo.
//
// A click or tap marks what is asked for; a mark is dragged without the finger lying on it; dragging elsewhere moves the photo; two
// fingers zoom; a finger held still marks under the magnifier.

import * as drafts from "./draft.js";
import { near } from "./marks.js";
import { choose, commit, preview, store } from "./store.js";

const SLACK = { mouse: 3, pen: 5, touch: 9 };
const HOLD_MS = 350;

export class Pointer {
  constructor(canvas, page) {
    Object.assign(this, { canvas, page, down: new Map(), gesture: null });
    canvas.addEventListener("pointerdown", (e) => this.start(e));
    canvas.addEventListener("pointermove", (e) => this.moved(e));
    canvas.addEventListener("pointerup", (e) => this.end(e, true));
    canvas.addEventListener("pointercancel", (e) => this.end(e, false));
    canvas.addEventListener("pointerleave", (e) => e.pointerType === "mouse" && !this.gesture && page.hover(null));
    canvas.addEventListener("wheel", (e) => this.wheel(e), { passive: false });
    canvas.addEventListener("contextmenu", (e) => e.preventDefault());
  }

  /** Where on the canvas. While a finger is down the canvas counts as where it was: what it shows must not slip from under it. */
  place(event) {
    if (!this.down.size) this.box = this.canvas.getBoundingClientRect();
    return [event.clientX - this.box.left, event.clientY - this.box.top];
  }

  wheel(event) {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 16 : event.deltaMode === 2 ? 400 : 1;
    this.page.view.zoom(Math.exp((-event.deltaY * unit) / 400), this.place(event));
    this.page.draw();
  }

  start(event) {
    if (event.button > 1 || !store.photo) return;
    const at = this.place(event);
    this.canvas.setPointerCapture(event.pointerId);
    this.canvas.focus({ preventScroll: true });
    this.down.set(event.pointerId, at);
    this.page.byKeyboard(false);
    if (this.down.size === 2) return this.pinch();
    if (this.down.size > 2) return;
    const touched = event.pointerType !== "mouse";
    const mark = event.button === 1 || store.photo.closed ? null : near(this.page.view, at, touched ? 28 : 14);
    const locked = mark?.kind === "landmark" && drafts.placements(store.draft, mark.name) > 1;
    this.gesture = { kind: mark && !locked ? "mark" : "press", mark, from: at, last: at, touched, slack: SLACK[event.pointerType] ?? 5, before: store.draft };
    if (mark && !locked) {
      choose({ selected: mark });
      this.gesture.start = drafts.at(store.draft, mark);
      if (touched) this.magnify(this.gesture.start);
    } else if (touched && event.button === 0) {
      this.gesture.hold = setTimeout(() => this.hold(), HOLD_MS);
    }
  }

  /** A finger held still: what is asked for follows it until it is lifted. */
  hold() {
    const g = this.gesture;
    if (!g || g.kind !== "press" || !store.active) return;
    g.kind = "held";
    this.magnify(this.page.view.toPhoto(g.last));
  }

  magnify(at) {
    this.page.magnifier.show(at, this.gesture.last, this.gesture.touched);
    this.page.draw();
  }

  pinch() {
    clearTimeout(this.gesture?.hold);
    if (this.gesture?.kind === "mark") preview(this.gesture.before);
    this.page.magnifier.hide();
    this.gesture = { kind: "pinch" };
  }

  moved(event) {
    const at = this.place(event);
    const g = this.gesture;
    if (!this.down.has(event.pointerId)) {
      if (event.pointerType === "mouse") this.page.hover(at);
      return;
    }
    const before = this.down.get(event.pointerId);
    this.down.set(event.pointerId, at);
    if (!g) return;
    const { view } = this.page;
    if (g.kind === "pinch") {
      const other = [...this.down].find(([id]) => id !== event.pointerId)?.[1];
      if (!other) return;
      const apart = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]);
      const middle = (p) => [(p[0] + other[0]) / 2, (p[1] + other[1]) / 2];
      view.zoom(apart(at) / Math.max(apart(before), 1), middle(at));
      view.pan(middle(at)[0] - middle(before)[0], middle(at)[1] - middle(before)[1]);
      return this.page.draw();
    }
    g.last = at;
    const [dx, dy] = [at[0] - g.from[0], at[1] - g.from[1]];
    const far = Math.hypot(dx, dy) > g.slack;
    if (g.kind === "press" && far) {
      clearTimeout(g.hold);
      g.kind = "pan";
    }
    if (g.kind === "mark" && (far || g.moving)) {
      g.moving = true;
      const to = drafts.point(g.start[0] + dx / view.scale, g.start[1] + dy / view.scale, store.photo);
      preview(drafts.move(store.draft, g.mark, to));
      this.magnify(to);
    } else if (g.kind === "held") {
      this.magnify(view.toPhoto(at));
    } else if (g.kind === "pan") {
      view.pan(at[0] - before[0], at[1] - before[1]);
      this.page.draw();
    }
  }

  /** Whether a click means the mark that lies near it, not a new one beside it: marks of other kinds often lie close together. */
  means(mark, [x, y], touched) {
    const { active } = store;
    if (!active) return true;
    if (active.kind !== mark.kind || (mark.kind === "line" && active.name !== mark.name)) return false;
    const [mx, my] = this.page.view.toScreen(drafts.at(store.draft, mark));
    return Math.hypot(mx - x, my - y) <= (touched ? 10 : 4);
  }

  end(event, done) {
    const at = this.place(event);
    if (!this.down.delete(event.pointerId)) return;
    const g = this.gesture;
    if (!g || (g.kind === "pinch" && this.down.size)) return;
    clearTimeout(g.hold);
    this.gesture = null;
    this.page.magnifier.hide();
    if (g.kind === "mark" && g.moving) {
      const moved = store.draft;
      store.draft = g.before;
      if (done) commit(moved);
      else preview(g.before);
    } else if (done && event.button !== 1 && g.kind !== "pan" && g.kind !== "pinch") {
      if (g.mark && this.means(g.mark, at, g.touched)) choose({ selected: g.mark });
      else this.page.mark(this.page.view.toPhoto(at), g.touched ? "touch" : "mouse");
    }
    this.page.draw();
  }
}
