// The photo's pixels: tiles of the level that the screen needs, coarser ones until they are there.

import { picture } from "./api.js";

/** Tiles kept decoded, a megabyte each. */
const MOST = 120;

export class Tiles {
  constructor(photo, side, changed) {
    Object.assign(this, { photo, side, changed, tiles: new Map(), failed: null });
    this.levels = [];
    for (let [width, height] = [photo.width, photo.height]; ; [width, height] = [Math.ceil(width / 2), Math.ceil(height / 2)]) {
      this.levels.push({ width, height });
      if (Math.max(width, height) <= side) break;
    }
  }

  /** Lets everything go. */
  close() {
    this.closed = true;
    this.tiles.forEach((t) => t.bitmap?.close());
    this.tiles.clear();
  }

  load(level, column, row) {
    const name = `${level}/${column}/${row}`;
    if (this.tiles.has(name) || this.closed) return;
    const tile = { bitmap: null };
    this.tiles.set(name, tile);
    picture(`photo/${this.photo.id}/tile/${name}`)
      .then((blob) => createImageBitmap(blob))
      .then((bitmap) => {
        if (this.closed) return bitmap.close();
        tile.bitmap = bitmap;
        this.forget();
        this.changed();
      })
      .catch((error) => {
        this.failed = error;
        // Asked for again with the next drawing, but not at once.
        setTimeout(() => { this.tiles.delete(name); this.changed(); }, 2000);
      });
  }

  forget() {
    for (const [name, tile] of this.tiles) {
      if (this.tiles.size <= MOST) return;
      if (name.startsWith(`${this.levels.length - 1}/`)) continue;
      tile.bitmap?.close();
      this.tiles.delete(name);
    }
  }

  /** Draws what of the photo lies in a `width` x `height` place, `view` saying where. Gives whether it is all there. */
  draw(context, view, width, height, density) {
    const { side, levels, photo } = this;
    const top = levels.length - 1;
    const wanted = Math.min(Math.max(Math.floor(Math.log2(1 / (view.scale * density)) + 0.4), 0), top);
    context.imageSmoothingEnabled = view.scale * density < 3;
    let whole = true;
    for (let level = top; level >= wanted; level--) {
      const size = levels[level];
      const [fx, fy] = [(photo.width / size.width) * view.scale, (photo.height / size.height) * view.scale];
      const first = (at, f) => Math.max(Math.floor(-at / f / side), 0);
      const last = (at, f, room, all) => Math.min(Math.floor((room - at) / f / side), Math.ceil(all / side) - 1);
      for (let row = first(view.y, fy); row <= last(view.y, fy, height, size.height); row++) {
        for (let column = first(view.x, fx); column <= last(view.x, fx, width, size.width); column++) {
          const name = `${level}/${column}/${row}`;
          const bitmap = this.tiles.get(name)?.bitmap;
          if (bitmap) {
            if (level === wanted) {
              // Used last.
              const tile = this.tiles.get(name);
              this.tiles.delete(name);
              this.tiles.set(name, tile);
            }
            context.drawImage(bitmap, column * side * fx + view.x, row * side * fy + view.y, bitmap.width * fx, bitmap.height * fy);
          } else if (level === wanted || level === top) {
            whole &&= level !== wanted;
            this.load(level, column, row);
          }
        }
      }
    }
    return whole;
  }
}
