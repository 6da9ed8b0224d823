// A photo at every scale, with a drawing in the photo's own pixels on top; other modules draw and listen here.
//
// Photo pixels have their centres on whole numbers, as everywhere in this program. OpenSeadragon counts from the
// edge of the first pixel and in units of the photo's width; the half pixel between the two is dealt with here only.

import { number, say } from "../page.js";

const SVG = "http://www.w3.org/2000/svg";

let resolveOpened;
/** Resolves to the page's view once the photo is open. */
export const opened = new Promise((resolve) => { resolveOpened = resolve; });

/** Make an SVG element with attributes. */
export function svg(name, attributes = {}) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

/** One photo in one element. Made by `open`. */
class View {
  #viewer;
  #group;
  #layers = new Map();
  #listeners = { change: [], click: [], move: [], aim: [] };
  #share = 100;
  #isArriving = false; // a corrected picture that is not there yet
  #owner = null;

  constructor(viewer, photo) {
    this.#viewer = viewer;
    this.photo = photo;
    const drawing = svg("svg", { class: "drawing", "aria-hidden": "false", role: "group" });
    drawing.setAttribute("aria-label", photo.words.drawing);
    this.#group = svg("g");
    drawing.append(this.#group);
    viewer.canvas.append(drawing);
    this.element = viewer.canvas;
    viewer.addHandler("update-viewport", () => this.#placed());
    viewer.addHandler("canvas-click", (event) => {
      if (event.quick) this.#pointed("click", { xy: this.toPhoto(event.position), event: event.originalEvent });
    });
    viewer.canvas.addEventListener("pointermove", (event) => this.#pointed("move", { xy: this.ofEvent(event), event }));
    // sent at once, where the browser can; "pointermove" waits for the next frame
    viewer.canvas.addEventListener("pointerrawupdate", (event) => { if (!this.#owner) this.#tell("aim", { xy: this.ofEvent(event), event }); });
    viewer.addHandler("canvas-key", (event) => { event.preventDefaultAction = true; });
    viewer.addHandler("canvas-double-click", (event) => { event.preventDefaultAction = true; });
    this.#placed();
  }

  /** The drawing's group: coordinates are photo pixels. */
  get group() { return this.#group; }

  /** Screen pixels a photo pixel takes at present. */
  get scale() {
    return this.#viewer.viewport.getContainerSize().x * this.#viewer.viewport.getZoom(true) / this.photo.width_px;
  }

  /** A part of the drawing that one module has for itself; later ones lie on top. */
  layer(name) {
    if (!this.#layers.has(name)) {
      const made = svg("g", { "data-layer": name });
      this.#layers.set(name, made);
      this.#group.append(made);
    }
    return this.#layers.get(name);
  }

  /** Photo pixels of a point {x, y} counted from the element's top left corner in CSS pixels. */
  toPhoto(point) {
    const at = this.#viewer.viewport.pointFromPixel(new OpenSeadragon.Point(point.x, point.y), true);
    return [at.x * this.photo.width_px - 0.5, at.y * this.photo.width_px - 0.5];
  }

  /** Photo pixels under a pointer event. */
  ofEvent(event) {
    const box = this.element.getBoundingClientRect();
    return this.toPhoto({ x: event.clientX - box.left, y: event.clientY - box.top });
  }

  /** CSS pixels from the element's top left corner of a photo point. */
  toScreen([x, y]) {
    const width = this.photo.width_px;
    const at = new OpenSeadragon.Point((x + 0.5) / width, (y + 0.5) / width);
    const p = this.#viewer.viewport.pixelFromPoint(at, true);
    return [p.x, p.y];
  }

  /** The part of the photo that is on the screen: [x0, y0, x1, y1], within the photo. */
  visible() {
    const size = this.#viewer.viewport.getContainerSize();
    const [x0, y0] = this.toPhoto({ x: 0, y: 0 });
    const [x1, y1] = this.toPhoto({ x: size.x, y: size.y });
    const { width_px: w, height_px: h } = this.photo;
    return [Math.max(-0.5, x0), Math.max(-0.5, y0), Math.min(w - 0.5, x1), Math.min(h - 0.5, y1)];
  }

  /** Keep a point inside the photo. */
  inside([x, y]) {
    const { width_px: w, height_px: h } = this.photo;
    return [Math.min(Math.max(x, 0), w - 1), Math.min(Math.max(y, 0), h - 1)];
  }

  /**
   * Call `listener` when the view moved ("change"), at a click on the photo ("click", {xy, event}) or as the pointer moves
   * ("move", before each frame; "aim", in some browsers only, as soon as it is known and more often than there are frames).
   */
  on(what, listener) {
    this.#listeners[what].push(listener);
    if (what === "change") listener(this);
  }

  /**
   * Have clicks and moves of the pointer for one module alone, until it lets go (null).
   *
   * `owner` may have click({xy, event}) and move({xy, event}); measuring rests meanwhile.
   */
  claim(owner) { this.#owner = owner; }

  /** True while one module has the pointer for itself. */
  get isClaimed() { return this.#owner !== null; }

  /** Show the corrected photo up to that per cent of the width, the original right of it. */
  set share(pct) {
    this.#share = pct;
    const top = this.#viewer.world.getItemAt(1);
    if (!top) return;
    const { width_px: w, height_px: h } = this.photo;
    top.setOpacity(pct > 0 ? 1 : 0);
    top.setClip(new OpenSeadragon.Rect(0, 0, Math.max(1, (w * pct) / 100), h));
    this.#viewer.world.getItemAt(0).setOpacity(pct < 100 || this.#isArriving ? 1 : 0); // unseen: its tiles wait
  }

  get share() { return this.#share; }

  /** Fetch the corrected photo's tiles under a new key, after it was corrected anew (null: there is none). */
  setCorrected(key) {
    const old = this.#viewer.world.getItemAt(1);
    if (old) this.#viewer.world.removeItem(old);
    this.photo.keys.corrected = key;
    this.#viewer.world.getItemAt(0).setOpacity(1);
    if (key === null) return;
    this.#isArriving = true;
    const arrived = () => { this.#isArriving = false; this.share = this.#share; };
    const success = ({ item }) => { this.share = this.#share; whenLoaded(item, arrived); };
    this.#viewer.addTiledImage({ tileSource: tileSource(this.photo, "corrected"), index: 1, success });
  }

  /** Show the whole photo. */
  whole() { this.#viewer.viewport.goHome(true); }

  /** Zoom about the middle, or about a photo point. */
  zoomBy(factor, about = null) {
    const width = this.photo.width_px;
    const at = about === null ? undefined : new OpenSeadragon.Point((about[0] + 0.5) / width, (about[1] + 0.5) / width);
    this.#viewer.viewport.zoomBy(factor, at, true);
    this.#viewer.viewport.applyConstraints(true);
  }

  /** Move the view by a share of its size. */
  panBy(dx, dy) {
    const bounds = this.#viewer.viewport.getBounds(true);
    this.#viewer.viewport.panBy(new OpenSeadragon.Point(dx * bounds.width, dy * bounds.height), true);
    this.#viewer.viewport.applyConstraints(true);
  }

  /** Bring a photo point into view, in the middle where it is out of sight. */
  reveal(xy) {
    const [x, y] = this.toScreen(xy);
    const size = this.#viewer.viewport.getContainerSize();
    if (x > 24 && y > 24 && x < size.x - 24 && y < size.y - 24) return;
    const width = this.photo.width_px;
    this.#viewer.viewport.panTo(new OpenSeadragon.Point((xy[0] + 0.5) / width, (xy[1] + 0.5) / width), true);
  }

  /** Zoom onto a box of the photo. */
  show([x0, y0, x1, y1], margin = 0.3) {
    const width = this.photo.width_px;
    const more = margin * Math.max(x1 - x0, y1 - y0, 20);
    const box = new OpenSeadragon.Rect((x0 + 0.5 - more) / width, (y0 + 0.5 - more) / width, (x1 - x0 + 2 * more) / width, (y1 - y0 + 2 * more) / width);
    this.#viewer.viewport.fitBounds(box, true);
  }

  #placed() {
    const [x, y] = this.toScreen([0, 0]);
    this.#group.setAttribute("transform", `translate(${x} ${y}) scale(${this.scale})`);
    this.#group.style.setProperty("--one", 1 / this.scale);
    this.#tell("change", this);
  }

  #pointed(what, told) {
    if (this.#owner) this.#owner[what]?.(told); else this.#tell(what, told);
  }

  #tell(what, told) { for (const listener of this.#listeners[what]) listener(told); }
}

/** Call once all that is seen of a picture is there. */
function whenLoaded(item, then) {
  if (item.getFullyLoaded()) then(); else item.addOnceHandler("fully-loaded-change", then);
}

function tileSource(photo, variant) {
  const { photo_id: id, width_px: width, height_px: height, tile_px: tile, n_levels: n } = photo;
  const key = photo.keys[variant];
  return {
    width, height, tileSize: tile, minLevel: 0, maxLevel: n - 1,
    getTileUrl: (level, x, y) => `/photos/${id}/tiles/${variant}/${n - 1 - level}/${x}_${y}.jpg?k=${key}`,
  };
}

/** Address of a tile of the full-size picture. */
export function tileAddress(photo, variant, column, row) {
  return `/photos/${photo.photo_id}/tiles/${variant}/0/${column}_${row}.jpg?k=${photo.keys[variant]}`;
}

/**
 * Open a photo in an element; resolves to its view.
 *
 * `photo` has photo_id, width_px, height_px, tile_px, n_levels, keys {original, corrected or null} and words {drawing}.
 */
export function open(element, photo) {
  const variants = photo.keys.corrected ? ["original", "corrected"] : ["original"];
  return new Promise((resolve, reject) => {
    const viewer = OpenSeadragon({
      element,
      drawer: "canvas", // the default one is far too slow without a graphics card
      showNavigationControl: false,
      animationTime: 0.25,
      maxZoomPixelRatio: 8,
      visibilityRatio: 0.5,
      tabIndex: -1,
      tileSources: variants.map((variant, n) => ({ tileSource: tileSource(photo, variant), opacity: n === variants.length - 1 ? 1 : 0 })),
      gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: false },
      gestureSettingsTouch: { clickToZoom: false, dblClickToZoom: false },
      gestureSettingsPen: { clickToZoom: false, dblClickToZoom: false },
    });
    viewer.addOnceHandler("open", () => {
      performance.mark("photo-open");
      const view = new View(viewer, photo);
      view.drawerName = viewer.drawer.getType();
      resolveOpened(view);
      resolve(view);
      const { world } = viewer;
      whenLoaded(world.getItemAt(world.getItemCount() - 1), () => {
        performance.mark("photo-sharp");
        world.getItemAt(0).setPreload(true); // what lies under the corrected picture, before somebody slides it away
      });
    });
    viewer.addOnceHandler("tile-load-failed", async (event) => { // the server says why, once
      const answer = await fetch(event.tile.getUrl(), { headers: { accept: "application/json" } });
      if (!answer.ok) say((await answer.json()).problems);
    });
    viewer.addOnceHandler("open-failed", (event) => reject(new Error(event.message)));
  });
}

const pressed = new WeakMap(); // by the element of a point: how far it is, and what a press on it begins
const RING_PX = 9, SLACK_PX = 4; // of the screen: what is seen of a point, and how far a click may slip

/**
 * A point that can be dragged and moved by arrow keys.
 *
 * `options`: label; moved(xy, how) while it moves, how is "drag" or "key"; done(xyBefore) when it came to rest; focused();
 * tapped(xy) for a click beside its ring, which without it is one on the point; clicked() for one on the point.
 * Returns {element, xy, setXY, remove}.
 */
export function handle(view, layer, xy, options) {
  const made = svg("g", { class: "handle", tabindex: "0", role: "slider", "aria-label": options.label });
  made.append(svg("circle", { class: "reach" }), svg("circle", { class: "edge" }), svg("circle", { class: "ring" }), svg("circle", { class: "dot" }));
  const self = {
    element: made,
    xy: [...xy],
    setXY(at) {
      self.xy = [...at];
      made.setAttribute("transform", `translate(${at[0]} ${at[1]})`);
      made.setAttribute("aria-valuenow", Math.round(at[0]));
      made.setAttribute("aria-valuetext", `x ${number(at[0], 1)}; y ${number(at[1], 1)}`);
    },
    remove() { made.remove(); },
  };
  self.setXY(xy);
  layer.append(made);
  let start = null;
  const apart = ([x, y], [ax, ay]) => Math.hypot(x - ax, y - ay) * view.scale;
  pressed.set(made, {
    far: (at) => apart(at, self.xy),
    press: (event, from) => {
      made.setPointerCapture(event.pointerId);
      made.focus({ preventScroll: true });
      start = { xy: self.xy, from, isBeside: Boolean(options.tapped) && apart(from, self.xy) > RING_PX };
    },
  });
  made.addEventListener("pointerdown", (event) => { // where points are close, the nearest one is meant
    event.stopPropagation();
    const at = view.ofEvent(event);
    const all = [...layer.children].filter((one) => pressed.has(one)).map((one) => pressed.get(one));
    all.reduce((a, b) => (b.far(at) < a.far(at) ? b : a)).press(event, at);
  });
  made.addEventListener("pointermove", (event) => {
    if (!start) return;
    event.stopPropagation();
    const [x, y] = view.ofEvent(event);
    if (start.isBeside && apart([x, y], start.from) < SLACK_PX) return; // a click so far, no drag
    start.isBeside = false;
    self.setXY(view.inside([start.xy[0] + x - start.from[0], start.xy[1] + y - start.from[1]]));
    options.moved?.(self.xy, "drag");
  });
  const rest = () => {
    if (!start) return;
    const before = start.xy, beside = start.isBeside ? start.from : null;
    start = null;
    if (beside) options.tapped(view.inside(beside));
    else if (before[0] !== self.xy[0] || before[1] !== self.xy[1]) options.done?.(before);
    else options.clicked?.();
  };
  made.addEventListener("pointerup", rest);
  made.addEventListener("pointercancel", () => { if (start) start.isBeside = false; rest(); });
  made.addEventListener("focus", () => options.focused?.(self));
  made.addEventListener("keydown", (event) => {
    const way = arrow(event);
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    const before = self.xy;
    self.setXY(view.inside([before[0] + way[0], before[1] + way[1]]));
    view.reveal(self.xy);
    options.moved?.(self.xy, "key");
    options.done?.(before);
  });
  return self;
}

/** How far an arrow key moves, in photo pixels: 1, with Shift 10, with Ctrl 200; null for other keys. */
export function arrow(event) {
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!way || event.altKey || event.metaKey) return null;
  const far = event.ctrlKey ? 200 : event.shiftKey ? 10 : 1;
  return [way[0] * far, way[1] * far];
}
