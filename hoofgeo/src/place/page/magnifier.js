// The magnifier: what lies under finger, cursor or moved mark, several times as large, where the hand does not cover it.

import { byId } from "./dom.js";
import { cross, draw, graduations } from "./marks.js";
import { View } from "./view.js";

const SIZE = 168;

export class Magnifier {
  constructor(stage) {
    Object.assign(this, { stage, canvas: byId("loupe"), view: new View(), at: null });
  }

  /** Shows the surroundings of a photo point that lies at `screen`; clear of the hand where it was touched. */
  show(at, screen, touched) {
    Object.assign(this, { at, screen, touched });
  }

  hide() {
    this.at = null;
    this.canvas.hidden = true;
  }

  render(view, tiles, density) {
    const { canvas, at } = this;
    if (!at) return;
    canvas.hidden = false;
    if (canvas.width !== SIZE * density) canvas.width = canvas.height = SIZE * density;
    const gap = this.touched ? 70 : 36;
    const [x, y] = this.screen;
    const right = x < view.width / 2;
    let left = right ? x + gap : x - gap - SIZE;
    let top = y - gap - SIZE;
    // Too near to the top edge: beside, or below, the hand.
    if (top < 4) top = this.touched ? 4 : Math.min(y + gap, view.height - SIZE - 4);
    left = Math.min(Math.max(left, 4), Math.max(view.width - SIZE - 4, 4));
    canvas.style.transform = `translate(${left}px, ${top}px)`;
    const scale = Math.min(Math.max(view.scale * 3, 2), 40);
    Object.assign(this.view, { scale, width: SIZE, height: SIZE, photo: view.photo, x: SIZE / 2 - at[0] * scale, y: SIZE / 2 - at[1] * scale });
    const context = canvas.getContext("2d");
    context.setTransform(density, 0, 0, density, 0, 0);
    context.fillStyle = "#3a4244";
    context.fillRect(0, 0, SIZE, SIZE);
    tiles.draw(context, this.view, SIZE, SIZE, density);
    graduations(context, this.view, { labels: false });
    draw(context, this.view, { labels: false });
    cross(context, [SIZE / 2, SIZE / 2], "#ff9d1f", 26);
  }
}
