// The marks over the photo: how they look, and which one is near.

import * as drafts from "./draft.js";
import { open as offered, offerOf } from "./offers.js";
import { store } from "./store.js";

const INK = "#10181a";
const PAPER = "#ffffff";
const CHOSEN = "#ff9d1f";
const LINE = "#8fe3ff";
const READ = "#a8f0a0";
const OFFER = "#ffe14d";

function stroke(context, colour, path, [outer, inner] = [4, 1.75]) {
  context.lineJoin = context.lineCap = "round";
  for (const [style, width] of [[INK, outer], [colour, inner]]) {
    Object.assign(context, { strokeStyle: style, lineWidth: width });
    context.beginPath();
    path(context);
    context.stroke();
  }
}

function text(context, words, x, y) {
  context.font = "600 13px system-ui, sans-serif";
  context.textBaseline = "middle";
  Object.assign(context, { strokeStyle: INK, lineWidth: 4, fillStyle: PAPER, lineJoin: "round" });
  context.strokeText(words, x, y);
  context.fillText(words, x, y);
}

/** A ring around the very point, which stays free, with four ticks pointing at it. */
function ring(context, [x, y], colour, radius) {
  stroke(context, colour, (c) => {
    c.moveTo(x + radius, y);
    c.arc(x, y, radius, 0, 2 * Math.PI);
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      c.moveTo(x + dx * radius * 0.5, y + dy * radius * 0.5);
      c.lineTo(x + dx * radius * 1.5, y + dy * radius * 1.5);
    }
  });
}

export function cross(context, [x, y], colour = CHOSEN, size = 14) {
  stroke(context, colour, (c) => {
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      c.moveTo(x + dx * 3, y + dy * 3);
      c.lineTo(x + dx * size, y + dy * size);
    }
  });
}

/** The ruler as it is read: every line that was found, every fifth centimetre with its number. */
export function graduations(context, view, { labels = true } = {}) {
  const { reading, answer } = store.ruler;
  if (!reading || answer === "declined") return;
  const colour = answer === "used" ? READ : CHOSEN;
  // Lines that would run into one another are left to a closer look, and to the magnifier.
  const [a, b] = [reading.lines[0], reading.lines.at(-1)];
  const mm = (Math.hypot(b[1] - a[1], b[2] - a[2]) * view.scale) / Math.abs(b[0] - a[0]);
  const ten = ([label], by = 10) => Math.abs(label / by - Math.round(label / by)) < 1e-6;
  const step = [reading.step_mm, 5, 10, 50].find((s) => s * mm > 5) ?? 50;
  const shown = reading.lines.filter((line) => ten(line, step));
  const apart = step * mm;
  stroke(context, colour, (c) => {
    for (const line of shown) {
      const [, x, y, dx, dy] = line;
      const [sx, sy] = view.toScreen([x, y]);
      const half = ten(line) ? 9 : 4;
      c.moveTo(sx - dx * half, sy - dy * half);
      c.lineTo(sx + dx * half, sy + dy * half);
    }
  }, apart < 9 ? [2.5, 1] : [4, 1.75]);
  if (!labels) return;
  const marked = drafts.graduations(store.draft).map((p) => [p.mm].flat()[0]);
  for (const line of shown.filter((l) => ten(l, 50) && !marked.includes(l[0]))) {
    const [sx, sy] = view.toScreen([line[1], line[2]]);
    text(context, String(Math.round(line[0])), sx + line[3] * 18 + 3, sy + line[4] * 18);
  }
}

export function draw(context, view, { labels = true } = {}) {
  const { draft, selected, active, values } = store;
  const colour = (mark, usual) => (drafts.same(mark, selected) ? CHOSEN : usual);
  const catalogue = store.visit.catalogue.views[draft.view];
  // On a small screen, or far off, smaller: they must not hide the foot.
  const size = Math.min(Math.max(view.width / 110, 5), 8);
  const dot = Math.min(Math.max(view.scale * 3, 1.2), 2.5);
  for (const [name, points] of Object.entries(draft.lines ?? {})) {
    if (!points) continue;
    const at = points.map((p) => view.toScreen(p));
    const closed = catalogue?.lines.find((l) => l.name === name)?.closed && active?.name !== name;
    stroke(context, LINE, (c) => {
      at.forEach(([x, y], i) => (i ? c.lineTo(x, y) : c.moveTo(x, y)));
      if (closed) c.closePath();
    });
    at.forEach(([x, y], index) => {
      const chosen = drafts.same({ kind: "line", name, index }, selected);
      context.fillStyle = INK;
      context.fillRect(x - dot - 1.5, y - dot - 1.5, 2 * dot + 3, 2 * dot + 3);
      context.fillStyle = chosen ? CHOSEN : LINE;
      context.fillRect(x - dot, y - dot, 2 * dot, 2 * dot);
    });
  }
  const points = drafts.graduations(draft);
  const residuals = values?.scene?.residuals_px;
  points.forEach((p, index) => {
    const at = view.toScreen(p.at);
    const mark = { kind: "scale", name: "scale", index };
    ring(context, at, colour(mark, PAPER), size - 2);
    if (residuals?.length === points.length && labels) {
      // How far the graduation lies off the model, ten times as large.
      const [dx, dy] = residuals[index];
      stroke(context, CHOSEN, (c) => { c.moveTo(...at); c.lineTo(...view.toScreen([p.at[0] + 10 * dx, p.at[1] + 10 * dy])); });
    }
    if (labels) text(context, [p.mm].flat().join(", "), at[0] + 12, at[1] - 12);
  });
  for (const name of Object.keys(draft.landmarks ?? {})) {
    const at = drafts.landmarkAt(draft, name);
    if (!at) continue;
    const mark = { kind: "landmark", name };
    ring(context, view.toScreen(at), colour(mark, drafts.accepted(draft, name) ? OFFER : PAPER), size);
  }
  // Over everything else: the chosen one's name is what is read.
  const at = labels && selected?.kind === "landmark" ? drafts.landmarkAt(draft, selected.name) : null;
  if (!at) return;
  const [x, y] = view.toScreen(at);
  text(context, catalogue?.landmarks.find((l) => l.name === selected.name)?.title ?? selected.name, x + 16, y - 14);
}

/** What is offered: dashed, a square about the very point, so that nobody takes it for a mark. */
export function offers(context, view) {
  const { active, offers: all } = store;
  const open = offered();
  const mine = offerOf(active);
  if (mine && active.kind === "line" && !open.some((o) => o.name === active.name)) open.push(active);
  const size = Math.min(Math.max(view.width / 110, 5), 8);
  context.save();
  for (const { kind, name } of open) {
    const now = active?.name === name && active.kind === kind;
    if (kind === "line") {
      context.setLineDash([7, 5]);
      const at = all.lines[name].points.map((p) => view.toScreen(p));
      const closed = store.visit.catalogue.views[store.draft.view].lines.find((l) => l.name === name)?.closed;
      stroke(context, now ? CHOSEN : OFFER, (c) => {
        at.forEach(([x, y], i) => (i ? c.lineTo(x, y) : c.moveTo(x, y)));
        if (closed) c.closePath();
      }, [3.5, 1.5]);
    } else {
      context.setLineDash([4, 3]);
      const [x, y] = view.toScreen(all.landmarks[name].at);
      const side = now ? size + 3 : size;
      stroke(context, now ? CHOSEN : OFFER, (c) => c.rect(x - side, y - side, 2 * side, 2 * side));
      context.setLineDash([]);
      context.fillStyle = now ? CHOSEN : OFFER;
      context.fillRect(x - 1, y - 1, 2, 2);
    }
  }
  context.restore();
  const at = mine?.at && view.toScreen(mine.at);
  if (at) text(context, `${catalogueTitle(active)}?`, at[0] + 16, at[1] - 14);
}

const catalogueTitle = (step) => store.visit.catalogue.views[store.draft.view].landmarks.find((l) => l.name === step.name)?.title ?? step.name;

/** The mark nearest to a place on the screen, within `reach` CSS px. */
export function near(view, [x, y], reach) {
  let [best, nearest] = [null, reach];
  for (const mark of drafts.marks(store.draft)) {
    const [mx, my] = view.toScreen(drafts.at(store.draft, mark));
    // The chosen one and landmarks are taken before others that lie as near.
    const favour = drafts.same(mark, store.selected) ? 6 : mark.kind === "landmark" ? 2 : 0;
    const distance = Math.hypot(mx - x, my - y) - favour;
    if (distance < nearest) [best, nearest] = [mark, distance];
  }
  return best;
}
