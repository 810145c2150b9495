// The order in which photos were taken: groups by pauses, an order said once, and what is missing.

const MINUTE = 60e3;
/** No pause is shorter, and none is one that is not this many times the usual time from photo to photo. */
const PAUSE_MS = 4 * MINUTE;
const USUAL = 6;

const time = (p) => (p.taken ? Date.parse(p.taken) : NaN);

/** By time; photos without one keep their order behind the others. */
export const inOrderOfTime = (photos) => [...photos].sort((a, b) => {
  const [x, y] = [time(a), time(b)];
  if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y) || a.id - b.id;
  return x - y || a.id - b.id;
});

const clock = (p) => p.taken?.slice(11, 16);

/** Photos in order of time, parted by pauses. */
export function pauses(photos) {
  const timed = photos.filter((p) => !Number.isNaN(time(p)));
  const gaps = timed.slice(1).map((p, i) => time(p) - time(timed[i])).sort((a, b) => a - b);
  const pause = Math.max(PAUSE_MS, USUAL * (gaps[Math.floor(gaps.length / 2)] ?? 0));
  const groups = [];
  timed.forEach((p, i) => {
    if (!i || time(p) - time(timed[i - 1]) > pause) groups.push({ photos: [] });
    groups.at(-1).photos.push(p);
  });
  const day = (p) => p.taken.slice(0, 10);
  for (const group of groups) {
    const [a, b] = [group.photos[0], group.photos.at(-1)];
    group.title = `${timed.length && day(timed[0]) !== day(timed.at(-1)) ? `${day(a)} ` : ""}${clock(a)}${clock(a) === clock(b) ? "" : ` to ${clock(b)}`}`;
  }
  const rest = photos.filter((p) => Number.isNaN(time(p)));
  if (rest.length) groups.push({ title: timed.length ? "No time in the file" : "By name", photos: rest, untimed: true });
  return groups;
}

/** "LF side, sole, RF side …" as a list; null where it cannot be understood. A foot holds until another is named. */
export function parse(text, catalogue) {
  const feet = catalogue.feet.map((f) => f.name);
  const out = [];
  let foot = null;
  for (const item of text.split(/[,;\n]+/).map((t) => t.trim()).filter(Boolean)) {
    const shot = {};
    for (const word of item.split(/\s+/).map((w) => w.toLowerCase())) {
      const named = feet.find((f) => f.toLowerCase() === word);
      if (named) foot = named;
      else if (["side", "lateral", "medial"].includes(word)) Object.assign(shot, { view: "lateral", ...(word === "side" ? {} : { side: word }) });
      else if (["sole", "solar"].includes(word)) shot.view = "solar";
      else if (["before", "after"].includes(word)) shot.stage = `${word}_trim`;
      else return null;
    }
    if (!foot || !shot.view) return null;
    out.push({ foot, ...shot });
  }
  return out.length ? out : null;
}

/** The whole sequence with its stages: `all` before and then all after, foot by foot (`each`), one stage, or none said. */
export function sequence(shots, stages) {
  const at = (list, stage) => list.map((s) => ({ stage, ...s }));
  if (stages === "all") return [...at(shots, "before_trim"), ...at(shots, "after_trim")];
  if (stages === "each") {
    const feet = [...new Set(shots.map((s) => s.foot))].map((f) => shots.filter((s) => s.foot === f));
    return feet.flatMap((list) => [...at(list, "before_trim"), ...at(list, "after_trim")]);
  }
  return stages ? at(shots, stages) : shots;
}

const fits = (p, shot) => p.foot === shot.foot && p.view === shot.view && (!shot.stage || p.stage === shot.stage);

/**
 * What photos show by the order said, from one on (from the first where none is named): the changes, null where the order is not
 * understood. A photo that says already where in the order it stands says where the order goes on. Behind its end it begins anew
 * after a pause: another animal. A pause between before and after is where the second half begins.
 */
export function plan(photos, text, stages, from, catalogue) {
  const shots = parse(text, catalogue);
  if (!shots) return null;
  const all = sequence(shots, stages);
  const half = stages === "all" ? shots.length : null;
  const groups = pauses(photos);
  const order = groups.flatMap((g, n) => g.photos.map((p, i) => ({ p, first: n > 0 && i === 0 })));
  let begin = from === null ? 0 : order.findIndex(({ p }) => p.id === from);
  if (begin < 0) begin = 0;
  let at = 0;
  if (from !== null) {
    const own = all.findIndex((s) => fits(order[begin].p, s));
    const before = begin > 0 ? all.findIndex((s) => fits(order[begin - 1].p, s)) : -1;
    at = own >= 0 ? own : before + 1;
  }
  const changes = [];
  order.slice(begin).forEach(({ p, first }, i) => {
    if (first && i > 0) {
      if (at >= all.length) at = 0;
      else if (half && at < half && at > half / 2) at = half;
    }
    if (at >= all.length) return;
    const { foot, view, side, stage } = all[at];
    changes.push({ id: p.id, foot, view, ...(side ? { side } : {}), ...(stage ? { stage } : {}) });
    at += 1;
  });
  return changes;
}

/** Animal by animal, which photos there are of each foot, view and stage; what is missing has none. */
export function board(photos, catalogue, stages = "") {
  const said = photos.filter((p) => p.foot && p.view);
  const animals = [...new Set((said.length ? said : photos).map((p) => p.animal ?? null))];
  return animals.map((animal) => {
    const own = said.filter((p) => (p.animal ?? null) === animal);
    const stated = [...new Set(own.map((p) => p.stage ?? null))];
    const wanted = ["before_trim", "after_trim"].filter((s) => stated.includes(s) || stages === "all" || stages === "each" || stages === s);
    const columns = (wanted.length ? [...wanted, ...(stated.includes(null) ? [null] : [])] : [null]).flatMap((stage) => [["lateral", "side"], ["solar", "sole"]]
      .map(([view, title]) => ({ view, stage, title: `${title}${stage ? ` ${stage.replace("_trim", "")}` : ""}` })));
    const cells = catalogue.feet.flatMap((f) => columns.map(({ view, stage }) => ({
      foot: f.name, view, stage, ids: own.filter((p) => p.foot === f.name && p.view === view && (p.stage ?? null) === stage).map((p) => p.id),
    })));
    return { animal, columns, cells };
  });
}

export const cellName = (cell, catalogue) => [catalogue.feet.find((f) => f.name === cell.foot).title, { lateral: "from the side", solar: "from the sole" }[cell.view], cell.stage?.replace("_", " ")].filter(Boolean).join(", ");
