// The sheet's pictures and remarks, fetched for what is in sight, one photo at a time, and let go again.

import { get, picture } from "./api.js";

/** Pictures kept, some 40 kB each. */
const MOST = 240;

export class Thumbs {
  constructor(changed) {
    Object.assign(this, { changed, images: new Map(), urls: new Map(), looks: new Map(), inSight: new Set(), running: false, busy: 0 });
    this.observer = new IntersectionObserver((entries) => {
      for (const e of entries) {
        const id = Number(e.target.dataset.photo);
        if (e.isIntersecting) this.inSight.add(id);
        else this.inSight.delete(id);
      }
      this.pump();
    }, { rootMargin: "300px" });
  }

  watch(element, id, image) {
    this.images.set(id, image);
    this.observer.observe(element);
  }

  run(on) {
    this.running = on;
    if (on) this.pump();
  }

  /** What was seen on a photo: `{ urgency, remarks, sha256 }`, once it is known. */
  seen(id) {
    return this.looks.get(id)?.urgency ? this.looks.get(id) : null;
  }

  /** One more than the number of an earlier photo with the same content; 0 where there is none. */
  twin(id) {
    const own = this.seen(id)?.sha256;
    const first = own && [...this.looks].filter(([, l]) => l.sha256 === own).map(([other]) => other).sort((a, b) => a - b)[0];
    return own && first < id ? first + 1 : 0;
  }

  /** Fetches what is next: pictures first, then a closer look at each. */
  async pump() {
    if (!this.running || this.busy) return;
    const sight = [...this.inSight].sort((a, b) => a - b);
    const bare = sight.find((id) => !this.urls.has(id));
    const blind = [...sight, ...this.images.keys()].find((id) => !this.looks.has(id));
    this.busy += 1;
    try {
      if (bare !== undefined) await this.fetch(bare);
      else if (blind !== undefined) await this.look(blind);
      else return;
    } finally {
      this.busy -= 1;
    }
    setTimeout(() => this.pump());
  }

  async fetch(id) {
    let url = "";
    try {
      url = URL.createObjectURL(await picture(`photo/${id}/small`));
    } catch { /* the tile stays empty and says its name */ }
    if (this.urls.get(id)) URL.revokeObjectURL(this.urls.get(id));
    this.urls.delete(id);
    this.urls.set(id, url);
    if (url) this.images.get(id).src = url;
    this.forget();
  }

  async look(id) {
    try {
      this.looks.set(id, await get(`photo/${id}/look`));
      // Of its pixels there is a better picture now than the camera's own.
      if (this.urls.has(id)) await this.fetch(id);
    } catch (error) {
      this.looks.set(id, { urgency: "again", remarks: [error.message] });
    }
    this.changed();
  }

  forget() {
    for (const [id, url] of this.urls) {
      if (this.urls.size <= MOST) return;
      if (this.inSight.has(id)) continue;
      if (url) URL.revokeObjectURL(url);
      this.images.get(id).removeAttribute("src");
      this.urls.delete(id);
    }
  }
}
