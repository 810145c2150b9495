// Where the photo stands on the screen: photo pixels to CSS pixels and back.

/** No photo pixel is shown larger than this, CSS px. */
const MOST = 24;

export class View {
  constructor() {
    Object.assign(this, { scale: 1, x: 0, y: 0, width: 1, height: 1, photo: { width: 1, height: 1 } });
  }

  toScreen([x, y]) {
    return [x * this.scale + this.x, y * this.scale + this.y];
  }

  toPhoto([x, y]) {
    return [(x - this.x) / this.scale, (y - this.y) / this.scale];
  }

  get least() {
    return Math.min(this.width / this.photo.width, this.height / this.photo.height) * 0.98;
  }

  fit() {
    this.scale = Math.min(this.least, MOST);
    this.x = (this.width - this.photo.width * this.scale) / 2;
    this.y = (this.height - this.photo.height * this.scale) / 2;
  }

  /** Takes the size of its place on the screen, and keeps what was in the middle there. */
  resize(width, height) {
    const middle = this.toPhoto([this.width / 2, this.height / 2]);
    const whole = this.scale <= this.least * 1.01;
    Object.assign(this, { width, height });
    if (whole) return this.fit();
    const [x, y] = this.toScreen(middle);
    this.pan(width / 2 - x, height / 2 - y);
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.keep();
  }

  zoom(factor, [x, y]) {
    const [px, py] = this.toPhoto([x, y]);
    this.scale = Math.min(Math.max(this.scale * factor, Math.min(this.least, MOST)), MOST);
    this.x = x - px * this.scale;
    this.y = y - py * this.scale;
    this.keep();
  }

  /** A photo never leaves the screen by more than half. */
  keep() {
    const within = (at, size, room) => Math.min(Math.max(at, room / 2 - size), room / 2);
    this.x = within(this.x, this.photo.width * this.scale, this.width);
    this.y = within(this.y, this.photo.height * this.scale, this.height);
  }

  /** Pans as little as it takes to show a point of the photo. */
  show(at) {
    const margin = Math.min(60, this.width / 4, this.height / 4);
    const [x, y] = this.toScreen(at);
    const step = (v, room) => (v < margin ? margin - v : v > room - margin ? room - margin - v : 0);
    this.pan(step(x, this.width), step(y, this.height));
  }
}
