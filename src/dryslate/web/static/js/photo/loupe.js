// A loupe that shows the photo's own pixels, one to one on the screen, around the point that is being set.

import { tileAddress } from "./viewer.js";

const KEPT = 48;
const CLOSE = 0.75; // a view nearer than that shows as much as 1:1 does, so the loupe goes to 4:1

/** Shows pixels of the full-size picture, without smoothing. */
export class Loupe {
  #tiles = new Map();
  #at = null;

  constructor(canvas, view) {
    this.others = () => []; // points that it should not lie on either
    this.canvas = canvas;
    this.view = view;
    view.on("change", () => { if (this.#at) this.#place(); });
  }

  /** Show the surroundings of a photo point. */
  show(xy) {
    this.#at = xy;
    this.canvas.hidden = false;
    this.#place();
    this.#draw();
  }

  /** Put the loupe away. */
  hide() {
    this.#at = null;
    this.canvas.hidden = true;
  }

  get #variant() {
    const { keys, width_px: width } = this.view.photo;
    return keys.corrected && this.#at[0] < (width * this.view.share) / 100 ? "corrected" : "original";
  }

  #place() {
    const [x, y] = this.view.toScreen(this.#at);
    const { clientWidth: wide, clientHeight: high } = this.view.element, side = this.canvas.offsetWidth;
    const right = Math.max(3, wide - side), low = Math.max(3, high - side);
    const corners = [[3, 3], [right, 3], [3, low], [right, low]];
    const covers = ([left, top], [px, py]) => px > left - 30 && px < left + side + 30 && py > top - 30 && py < top + side + 30;
    const open = corners.filter((corner) => !covers(corner, [x, y]));
    const others = this.others().map((xy) => this.view.toScreen(xy));
    const [left, top] = open.find((corner) => !others.some((xy) => covers(corner, xy))) ?? open[0] ?? corners[0];
    this.canvas.style.left = `${left}px`;
    this.canvas.style.top = `${top}px`;
  }

  #draw() {
    const ratio = window.devicePixelRatio || 1;
    const side = Math.round(this.canvas.offsetWidth * ratio);
    if (this.canvas.width !== side) this.canvas.width = this.canvas.height = side;
    const context = this.canvas.getContext("2d");
    const { width_px: width, height_px: height, tile_px: tile } = this.view.photo;
    const zoom = this.view.scale * ratio < CLOSE ? 1 : 4;
    const [x, y] = this.#at;
    const left = Math.round(side / 2 - (x + 0.5) * zoom), top = Math.round(side / 2 - (y + 0.5) * zoom);
    context.imageSmoothingEnabled = false;
    context.fillStyle = "#15191c";
    context.fillRect(0, 0, side, side);
    const first = (edge) => Math.max(0, Math.floor(-edge / zoom / tile));
    const last = (edge, all) => Math.min(Math.ceil(all / tile) - 1, Math.floor((side - edge) / zoom / tile));
    for (let row = first(top); row <= last(top, height); row += 1) {
      for (let column = first(left); column <= last(left, width); column += 1) {
        const image = this.#tile(column, row);
        if (image) context.drawImage(image, left + column * tile * zoom, top + row * tile * zoom, image.width * zoom, image.height * zoom);
      }
    }
    this.#cross(context, (x + 0.5) * zoom + left, (y + 0.5) * zoom + top, side, ratio);
    context.font = `700 ${13 * ratio}px "DejaVu Sans", sans-serif`;
    context.lineWidth = 3 * ratio;
    context.strokeStyle = "#000";
    context.fillStyle = "#fff";
    context.strokeText(`${zoom}:1`, 7 * ratio, side - 8 * ratio);
    context.fillText(`${zoom}:1`, 7 * ratio, side - 8 * ratio);
  }

  #cross(context, x, y, side, ratio) {
    const gap = 9 * ratio;
    for (const [colour, wide] of [["#000", 3 * ratio], ["#fff", ratio]]) {
      context.strokeStyle = colour;
      context.lineWidth = wide;
      context.beginPath();
      for (const [ax, ay, bx, by] of [[0, y, x - gap, y], [x + gap, y, side, y], [x, 0, x, y - gap], [x, y + gap, x, side]]) { context.moveTo(ax, ay); context.lineTo(bx, by); }
      context.stroke();
    }
    context.fillStyle = "#ff8fd0";
    context.fillRect(x - ratio, y - ratio, 2 * ratio, 2 * ratio);
  }

  #tile(column, row) {
    const address = tileAddress(this.view.photo, this.#variant, column, row);
    const kept = this.#tiles.get(address);
    if (kept) return kept.complete && kept.naturalWidth ? kept : null;
    const image = new Image();
    image.onload = () => { if (this.#at) this.#draw(); };
    image.src = address;
    this.#tiles.set(address, image);
    if (this.#tiles.size > KEPT) this.#tiles.delete(this.#tiles.keys().next().value);
    return null;
  }
}
