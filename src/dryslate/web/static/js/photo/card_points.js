// A few named points set by hand on the photo: by click or by a cross that arrow keys move, then dragged or moved by keys.

import { arrow, handle, svg } from "./viewer.js";
import { steps } from "./undo.js";
import { isText } from "./measure.js";

/**
 * Points that one tool at a time sets; while it is on, it has the photo's clicks and keys for itself.
 *
 * `tool`: name; most (how many points); labels(i); shapes(points) → [{points, closed}], lines to draw;
 * changed(points, isResting) as they move; ended(); submit(); texts {set, move, take}.
 */
export class Points {
  #tool = null;
  #points = [];
  #coarse = [];
  #handles = [];
  #chosen = 0;
  #cross = null;
  #crossDoubt = 1;

  constructor(view, loupe, stage) {
    this.view = view;
    this.loupe = loupe;
    loupe.others = () => this.#points;
    this.stage = stage;
    this.layer = view.layer("hand");
    this.layer.setAttribute("class", "now hand");
    this.extra = svg("g", { class: "laid" });
    this.shapes = svg("g");
    this.mark = svg("g", { class: "cross" });
    this.mark.append(svg("path", { class: "under" }), svg("path", {}));
    this.names = svg("g");
    this.spots = svg("g");
    this.layer.append(this.extra, this.shapes, this.mark, this.names, this.spots);
    view.on("change", () => this.#drawCross());
    document.addEventListener("keydown", (event) => this.#key(event), true);
  }

  /** The tool that is on, or null. */
  get tool() { return this.#tool; }

  /** The points set so far. */
  get points() { return this.#points.map((p) => [...p]); }

  /** True once all points are set. */
  get isComplete() { return this.#tool !== null && this.#points.length >= (this.#tool.least ?? this.#tool.most); }


  /** How far off a point may be, in photo pixels: a pixel of the screen as it was when it was set. */
  get doubt() { return Math.max(1, ...this.#coarse); }

  /** Turn a tool on, as one step that can be undone. */
  begin(tool, points = [], coarse = points.map(() => 1)) {
    this.#step(tool.texts.begin, { tool, points, coarse });
    this.stage.focus({ preventScroll: true });
  }

  /** Turn the tool off and drop its points, as one step that can be undone. */
  drop() { if (this.#tool) this.#step(this.#tool.texts.drop, null); }

  /** Turn the tool off after its points were saved; the steps that led there go with it. */
  finish() {
    const name = this.#tool?.name;
    this.#restore(null);
    steps.forget((step) => step.isHand && step.tool === name);
  }

  /** Set points all at once, as one step. */
  replace(points, label) { this.#step(label, { tool: this.#tool, points, coarse: points.map((_, i) => this.#coarse[i] ?? 1) }); }

  /** Choose a point and bring it into view. */
  choose(i) {
    if (i < 0 || i >= this.#handles.length) return;
    this.#chosen = i;
    this.view.reveal(this.#points[i]);
    this.#handles[i].element.focus({ preventScroll: true });
  }

  #state() { return this.#tool ? { tool: this.#tool, points: this.points, coarse: [...this.#coarse] } : null; }

  #step(label, next) {
    const before = this.#state();
    this.#restore(next);
    this.#note(label, before);
  }

  #note(label, before) {
    const after = this.#state(), tool = (after ?? before)?.tool.name;
    steps.push({ label, isHand: true, tool, undo: () => this.#restore(before), redo: () => this.#restore(after) });
  }

  #restore(state) {
    const was = this.#tool;
    if (was && was !== state?.tool) { this.#tool = null; this.#clear(); was.ended(); }
    if (!state) return;
    const isNew = this.#tool !== state.tool;
    this.#tool = state.tool;
    this.#points = state.points.map((p) => [...p]);
    this.#coarse = [...state.coarse];
    if (isNew) {
      this.view.claim({ click: ({ xy }) => this.#clicked(xy), move: ({ xy, event }) => this.#pointed(xy, event) });
      const [x0, y0, x1, y1] = this.view.visible();
      this.#cross = [Math.round((x0 + x1) / 2), Math.round((y0 + y1) / 2)];
      state.tool.begun();
    }
    for (const old of this.#handles) old.remove();
    this.#handles = this.#points.map((xy, i) => this.#handle(xy, i));
    this.#chosen = Math.min(this.#chosen, Math.max(0, this.#points.length - 1));
    this.#draw();
    this.#tool.changed(this.points, true);
  }

  #clear() {
    this.view.claim(null);
    for (const old of this.#handles) old.remove();
    this.#handles = [];
    this.#points = [];
    this.#coarse = [];
    this.#chosen = 0;
    this.loupe.hide();
    for (const part of [this.extra, this.shapes, this.names]) part.replaceChildren();
    this.#drawCross();
  }

  #handle(xy, i) {
    let before = null;
    const made = handle(this.view, this.spots, xy, {
      label: this.#tool.labels(i),
      moved: (at, how) => {
        before ??= this.#state();
        this.#points[i] = [...at];
        this.#coarse[i] = how === "key" ? 1 : 1 / this.view.scale;
        this.loupe.show(at);
        this.#draw();
        this.#tool.changed(this.points, false);
      },
      done: () => {
        const earlier = before;
        before = null;
        if (!earlier) return;
        this.#note(this.#tool.texts.move, earlier);
        this.#tool.changed(this.points, true);
      },
      tapped: (at) => this.#clicked(at),
      focused: (self) => { this.#chosen = i; this.loupe.show(self.xy); },
    });
    made.element.addEventListener("blur", () => { if (this.#isFull) this.loupe.hide(); });
    return made;
  }

  get #isFull() { return this.#tool !== null && this.#points.length >= this.#tool.most; }

  #clicked(xy) { if (!this.#isFull) this.#add(this.view.inside(xy), 1 / this.view.scale); }

  #add(xy, coarse) {
    this.#step(this.#tool.texts.set, { tool: this.#tool, points: [...this.points, xy], coarse: [...this.#coarse, coarse] });
    if (this.#isFull) this.choose(this.#points.length - 1);
  }

  #pointed(xy, event) {
    if (this.#isFull || event.buttons) return;
    this.#cross = this.view.inside(xy);
    this.#crossDoubt = 1 / this.view.scale;
    this.loupe.show(this.#cross);
    this.#drawCross();
  }

  #key(event) {
    if (!this.#tool || isText(event)) return;
    const { target, key } = event, way = arrow(event);
    const onHandle = target.closest?.(".handle"), onButton = /^(BUTTON|A|SUMMARY)$/.test(target.tagName);
    const isBare = !event.ctrlKey && !event.altKey && !event.metaKey;
    if (way && !onHandle && !/^(radio|range)$/.test(target.type ?? "")) this.#moveBy(way);
    else if (!isBare) return;
    else if (key === " " && !onButton && !this.#isFull) this.#add([...this.#cross], this.#crossDoubt);
    else if (key === "Enter" && !onButton && this.isComplete) this.#tool.submit();
    else if (key === "Escape") this.drop();
    else if (key === "Backspace" && this.#points.length) this.replace(this.points.slice(0, -1), this.#tool.texts.take);
    else if (/^[1-9]$/.test(key) && Number(key) <= this.#points.length) this.choose(Number(key) - 1);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  /** Move the cross, or the chosen point once all are set. */
  #moveBy([dx, dy]) {
    if (!this.#isFull) {
      this.#cross = this.view.inside([this.#cross[0] + dx, this.#cross[1] + dy]);
      this.#crossDoubt = 1;
      this.view.reveal(this.#cross);
      this.loupe.show(this.#cross);
      this.#drawCross();
      return;
    }
    const at = this.#points[this.#chosen];
    const next = this.view.inside([at[0] + dx, at[1] + dy]);
    const before = this.#state();
    this.#points[this.#chosen] = next;
    this.#coarse[this.#chosen] = 1;
    this.#handles[this.#chosen].setXY(next);
    this.view.reveal(next);
    this.loupe.show(next);
    this.#draw();
    this.#note(this.#tool.texts.move, before);
    this.#tool.changed(this.points, true);
  }

  #draw() {
    const shapes = this.#tool.shapes(this.#points).filter((shape) => shape.points.length > 1);
    this.shapes.replaceChildren(...shapes.flatMap(({ points, closed }) => {
      const d = `M${points.map((p) => p.join(" ")).join("L")}${closed ? "Z" : ""}`;
      return [svg("path", { d, class: "under" }), svg("path", { d, class: "over" })];
    }));
    this.names.replaceChildren(...this.#points.map(([x, y], i) => {
      const name = svg("text", { x, y, class: "label" });
      name.textContent = this.#tool.short?.(i) ?? String(i + 1);
      return name;
    }));
    this.#drawCross();
  }

  #drawCross() {
    const isOn = this.#tool !== null && !this.#isFull && this.#cross !== null;
    this.mark.style.display = isOn ? "" : "none";
    if (!isOn) return;
    const [x, y] = this.#cross, long = 14 / this.view.scale, gap = 4 / this.view.scale;
    const d = `M${x - long} ${y}H${x - gap}M${x + gap} ${y}H${x + long}M${x} ${y - long}V${y - gap}M${x} ${y + gap}V${y + long}`;
    for (const path of this.mark.children) path.setAttribute("d", d);
  }
}
