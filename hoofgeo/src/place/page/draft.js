// What a draft says, and drafts made of it by one change. A draft is a sidecar as its file has it; none is ever changed in place.

const hundredth = (x) => Math.round(x * 100) / 100;

/** Nothing finer than a hundredth of a pixel is ever meant. */
export const point = (x, y, photo) => [hundredth(Math.min(Math.max(x, 0), photo.width)), hundredth(Math.min(Math.max(y, 0), photo.height))];

function changed(draft, change) {
  const next = structuredClone(draft);
  change(next);
  return next;
}

/** Everything that can be marked in this view, in order: the scale, landmarks, lines. */
export function steps(draft, catalogue) {
  const view = catalogue.views[draft.view];
  if (!view) return [];
  return [
    { kind: "scale", name: "scale", title: "Ruler" },
    ...view.landmarks.map((l) => ({ kind: "landmark", ...l })),
    ...view.lines.map((l) => ({ kind: "line", ...l })),
  ];
}

export const graduations = (draft) => draft.scale?.points ?? [];
export const linePoints = (draft, name) => draft.lines?.[name] ?? [];

/** Where a landmark is: the mean of its placements. */
export function landmarkAt(draft, name) {
  const at = draft.landmarks?.[name]?.at;
  if (!at) return null;
  if (typeof at[0] === "number") return at;
  return [0, 1].map((k) => at.reduce((sum, p) => sum + p[k], 0) / at.length);
}

/** How often a landmark was placed in this file. */
export const placements = (draft, name) => {
  const at = draft.landmarks?.[name]?.at;
  return !at ? 0 : typeof at[0] === "number" ? 1 : at.length;
};

/** placed, open, or unseen: a landmark or line without a slot is not asked for. */
export function state(draft, step) {
  if (step.kind === "scale") return graduations(draft).length > 1 ? "placed" : "open";
  const slots = (step.kind === "landmark" ? draft.landmarks : draft.lines) ?? {};
  if (slots[step.name]) return "placed";
  return step.name in slots ? "open" : "unseen";
}

export const place = (draft, name, at) => changed(draft, (d) => {
  // Whoever moves it by hand takes it off the edge, the other photo or the suggestion that a program had it from.
  const ownHand = { snapped: undefined, carried: undefined, suggested: undefined };
  d.landmarks = { ...d.landmarks, [name]: { ...d.landmarks?.[name], at, ...ownHand } };
});

/** What was offered, taken: its sidecar says so, and a line's is noted as one that the program reads. */
export const accept = (draft, landmarks, lines) => changed(draft, (d) => {
  for (const [name, { at, snapped }] of Object.entries(landmarks)) {
    d.landmarks = { ...d.landmarks, [name]: { at, ...(snapped ? { snapped } : {}), suggested: "accepted" } };
  }
  const names = Object.keys(lines);
  for (const name of names) d.lines = { ...d.lines, [name]: lines[name].points };
  if (names.length) d.notes = [d.notes, `read from the picture, looked at: ${names.join(", ")}`].filter(Boolean).join("; ");
});

/** Whether a landmark is an accepted offer. */
export const accepted = (draft, name) => draft.landmarks?.[name]?.suggested === "accepted";

/** Two landmarks exchanged: each with all that its file says of the place. */
export const exchange = (draft, a, b) => changed(draft, (d) => {
  const { [a]: first, [b]: second } = d.landmarks;
  d.landmarks = { ...d.landmarks, [a]: second, [b]: first };
});

/** Every label times a factor, to the next hundredth of a millimetre. */
export const stretch = (draft, factor) => changed(draft, (d) => {
  const times = (mm) => (Array.isArray(mm) ? mm.map(times) : hundredth(mm * factor));
  d.scale.points = d.scale.points.map((p) => ({ ...p, mm: times(p.mm) }));
});

const slots = (step) => (step.kind === "landmark" ? "landmarks" : "lines");

/** Empties a slot. */
export const empty = (draft, step) => changed(draft, (d) => {
  d[slots(step)] = { ...d[slots(step)], [step.name]: null };
});

/** Says that something cannot be seen on this photo: it has no slot then. */
export const unsee = (draft, step) => changed(draft, (d) => {
  delete d[slots(step)]?.[step.name];
});

export const setLine = (draft, name, points) => changed(draft, (d) => {
  d.lines = { ...d.lines, [name]: points.length ? points : null };
});

export const setGraduations = (draft, points) => changed(draft, (d) => {
  d.scale = { kind: "straight_ruler", ...d.scale, points };
});

/** The draft with a mark moved. A mark is `{ kind, name, index }`. */
export function move(draft, mark, at) {
  if (mark.kind === "landmark") return place(draft, mark.name, at);
  if (mark.kind === "scale") return setGraduations(draft, graduations(draft).with(mark.index, { ...graduations(draft)[mark.index], at }));
  return setLine(draft, mark.name, linePoints(draft, mark.name).with(mark.index, at));
}

export function remove(draft, mark) {
  if (mark.kind === "landmark") return empty(draft, mark);
  if (mark.kind === "scale") return setGraduations(draft, graduations(draft).toSpliced(mark.index, 1));
  return setLine(draft, mark.name, linePoints(draft, mark.name).toSpliced(mark.index, 1));
}

export function at(draft, mark) {
  if (mark.kind === "landmark") return landmarkAt(draft, mark.name);
  if (mark.kind === "scale") return graduations(draft)[mark.index]?.at ?? null;
  return linePoints(draft, mark.name)[mark.index] ?? null;
}

/** Every mark that is placed. */
export function marks(draft) {
  return [
    ...graduations(draft).map((_, index) => ({ kind: "scale", name: "scale", index })),
    ...Object.keys(draft.lines ?? {}).flatMap((name) => linePoints(draft, name).map((_, index) => ({ kind: "line", name, index }))),
    ...Object.keys(draft.landmarks ?? {}).filter((name) => draft.landmarks[name]).map((name) => ({ kind: "landmark", name, index: 0 })),
  ];
}

export const same = (a, b) => Boolean(a && b && a.kind === b.kind && a.name === b.name && (a.index ?? 0) === (b.index ?? 0));

/** A view chosen: the slots are those of its landmarks and lines. */
export const setView = (draft, view, catalogue) => changed(draft, (d) => {
  const { landmarks, lines } = catalogue.views[view];
  d.view = view;
  d.landmarks = Object.fromEntries(landmarks.map((l) => [l.name, null]));
  d.lines = Object.fromEntries(lines.map((l) => [l.name, null]));
  if (view === "solar") {
    delete d.side;
    delete d.gauge;
    delete d.planes?.near_heel;
  } else if (d.planes && !d.planes.near_heel) {
    d.planes.near_heel = { behind_scale_mm: -30, u_mm: 10 };
  }
});

/** A value set by its path, such as `["subject", "foot"]`; taken away where it is null. */
export const set = (draft, path, value) => changed(draft, (d) => {
  let within = d;
  for (const key of path.slice(0, -1)) within = within[key] ??= {};
  if (value === null) delete within[path.at(-1)];
  else within[path.at(-1)] = value;
});

/** The label of a new graduation: what those marked so far say of its place, to the next 5 mm; as the kind of scale has it. */
export function nextLabel(points, at, kind) {
  if (kind.corners.length) return kind.corners[points.length % kind.corners.length];
  const labels = points.map((p) => [p.mm].flat()).map(([x, y = 0]) => [x, y]);
  const five = (x) => Math.round(x / 5) * 5 + 0;
  const guess = points.length > 1 ? fitted(points.map((p) => p.at), labels, at) : null;
  if (kind.plane) return guess ? guess.map(five) : [[0, 0], [50, 0]][points.length];
  return guess ? five(guess[0]) : points.length ? labels[0][0] + 50 : 0;
}

/** Least squares of labels on pixels: affine where the pixels span a plane; where they stand in a row, along it, and beside it on the
 * other leg of the scale. */
function fitted(pixels, labels, at) {
  const mean = (list) => [0, 1].map((k) => list.reduce((sum, p) => sum + p[k], 0) / list.length);
  const [c, m] = [mean(pixels), mean(labels)];
  let [xx, xy, yy] = [0, 0, 0];
  const by = [[0, 0], [0, 0]];
  pixels.forEach(([x, y], i) => {
    const [dx, dy] = [x - c[0], y - c[1]];
    xx += dx * dx; xy += dx * dy; yy += dy * dy;
    for (const k of [0, 1]) {
      by[k][0] += dx * (labels[i][k] - m[k]);
      by[k][1] += dy * (labels[i][k] - m[k]);
    }
  });
  if (!(xx + yy > 0)) return null;
  const [dx, dy] = [at[0] - c[0], at[1] - c[1]];
  const det = xx * yy - xy * xy;
  if (det > 1e-3 * (xx + yy) ** 2) {
    return [0, 1].map((k) => m[k] + ((yy * by[k][0] - xy * by[k][1]) * dx + (xx * by[k][1] - xy * by[k][0]) * dy) / det);
  }
  const turn = Math.atan2(2 * xy, xx - yy) / 2;
  const [ux, uy] = [Math.cos(turn), Math.sin(turn)];
  const slope = [0, 1].map((k) => (by[k][0] * ux + by[k][1] * uy) / (xx + yy));
  const beside = Math.abs(dy * ux - dx * uy);
  const leg = Math.abs(slope[0]) > Math.abs(slope[1]) ? 0 : 1;
  if (beside > 0.25 * Math.sqrt(xx + yy) && labels.every((l) => l[1 - leg] === 0)) {
    return leg === 0 ? [0, beside * Math.abs(slope[0])] : [beside * Math.abs(slope[1]), 0];
  }
  const along = dx * ux + dy * uy;
  return [0, 1].map((k) => m[k] + slope[k] * along);
}
