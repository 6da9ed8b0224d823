// Measuring by points: set by click or by the cross, moved by drag and arrow keys, read by the server as they move.

import { number, post, say } from "../page.js";
import { arrow, handle, svg } from "./viewer.js";
import { steps } from "./undo.js";
import { showReading } from "./reading.js";

const LEAST = { length: 2, polyline: 2, outline: 3, corallites: 2, colour: 3 };
const CLOSED = new Set(["outline", "colour"]);

/** Line, or lines, of points, as an SVG path. */
export function pathOf(kind, points) {
  if (kind === "corallites") {
    const pairs = [];
    for (let i = 0; i + 1 < points.length; i += 2) pairs.push(`M${points[i].join(" ")}L${points[i + 1].join(" ")}`);
    return pairs.join("") || "M0 0";
  }
  return points.length ? `M${points.map((p) => p.join(" ")).join("L")}${CLOSED.has(kind) && points.length > 2 ? "Z" : ""}` : "M0 0";
}

/** True where a key press belongs to a field that takes text. */
export function isText(event) {
  const at = event.target;
  return at.isContentEditable || /^(TEXTAREA|SELECT)$/.test(at.tagName) || (at.tagName === "INPUT" && !/^(radio|checkbox|range|button)$/.test(at.type));
}

/** How far a point is from the stretch between two others. */
export function distance([x, y], [ax, ay], [bx, by]) {
  const dx = bx - ax, dy = by - ay, long = dx * dx + dy * dy;
  const t = long ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / long)) : 0;
  return Math.hypot(x - ax - t * dx, y - ay - t * dy);
}

/** What is being measured on one photo; made once a page. */
export class Measuring {
  #draft = null;
  #cross = null;
  #crossDoubt = 1;
  #handles = [];
  #chosen = null;
  #asking = false;
  #waiting = null;
  #asked = 0;
  #floor = 0; // answers to questions up to this one are no longer wanted

  constructor(view, parts) {
    this.view = view;
    this.parts = parts; // loupe, text, reading, hint, bar, form, label, kinds, hasOutline(colony), saved(answer, step)
    this.layer = view.layer("now");
    this.layer.setAttribute("class", "now");
    const rubber = svg("g", { class: "rubber" });
    this.lines = [svg("path", { class: "under" }), svg("path", { class: "over" })];
    this.rubber = [svg("path", { class: "under" }), svg("path", { class: "over" })];
    rubber.append(...this.rubber);
    this.points = svg("g");
    this.mark = svg("g", { class: "cross" });
    this.mark.append(svg("path", { class: "under" }), svg("path", {}));
    this.layer.append(...this.lines, rubber, this.mark, this.points);
    view.on("click", ({ xy }) => this.#clicked(xy));
    view.on("aim", ({ xy, event }) => this.#aimed(xy, event));
    view.on("move", ({ xy, event }) => this.#pointed(xy, event));
    view.on("change", () => this.#drawCross());
    document.addEventListener("keydown", (event) => this.#key(event));
    for (const radio of parts.stood) radio.addEventListener("change", () => this.#ask());
    parts.form.addEventListener("submit", (event) => { event.preventDefault(); this.save(); });
    parts.drop.addEventListener("click", () => this.drop());
    parts.bar.finish.addEventListener("click", () => this.finish());
    parts.bar.drop.addEventListener("click", () => this.drop());
    parts.label.addEventListener("input", () => this.#tellOutlined());
  }

  /** What is being drawn, or null: {kind, points, coarse, isDone, follows}. */
  get draft() { return this.#draft; }

  /** How far off a point may be, in photo pixels: one pixel of the screen as it was when it was set, at least one. */
  get pointDoubt() { return Math.max(1, ...(this.#draft?.coarse ?? [])); }

  /** Where the card stood, as chosen. */
  get stood() { return [...this.parts.stood].find((radio) => radio.checked)?.value ?? ""; }

  /** Begin something new; beginning the same again drops it. */
  start(kind) {
    if (this.#draft && !this.#draft.points.length && this.#draft.kind === kind) { this.drop(); return; }
    this.#change(this.parts.text.begin, { kind, points: [], coarse: [], isDone: false, follows: null, colony: "" });
    const [x0, y0, x1, y1] = this.view.visible();
    this.#cross ??= [Math.round((x0 + x1) / 2), Math.round((y0 + y1) / 2)];
    this.#drawCross();
    this.parts.stage.focus({ preventScroll: true });
  }

  /** Take the points of a saved measurement, to be set better. */
  follow(row) {
    this.#change(this.parts.text.begin, { kind: row.kind, points: row.points_px.map((p) => [...p]), coarse: row.points_px.map(() => row.point_u_px), isDone: true, follows: row.measurement_id, colony: row.colony });
    const radio = [...this.parts.stood].find((r) => r.value === row.stood);
    if (radio) radio.checked = true;
    this.#handles[0]?.element.focus();
  }

  /** Drop what is being drawn. */
  drop() {
    if (!this.#draft) return;
    this.#change(this.parts.text.drop, null);
  }

  /** Read what is drawn anew, after the photo was corrected anew. */
  readAgain() { this.#ask(); }

  /** Say that all points are set. */
  finish() {
    const draft = this.#draft;
    if (!draft || draft.points.length < LEAST[draft.kind]) return;
    this.#change(this.parts.text.finish, { ...draft, isDone: true });
  }

  /** Save what was drawn, with its coral. */
  async save() {
    const draft = this.#draft;
    if (!draft?.isDone) return;
    const colony = this.parts.label.value.trim();
    if (!colony) { this.parts.label.focus(); return; }
    const { photo_id: id, correction_key: key } = this.view.photo;
    const body = { kind: draft.kind, points: draft.points, stood: this.stood, point_u_px: this.pointDoubt, key: key ?? "", colony, follows: draft.follows };
    const button = this.parts.form.querySelector("#save");
    button.disabled = true;
    try {
      const answer = await post(`/photos/${id}/measurements`, body);
      steps.forget((step) => step.isDraft);
      this.#restore(null);
      this.parts.saved(answer, { colony, follows: draft.follows, kind: draft.kind });
    } catch (error) {
      say(error.told?.problems ?? [{ message: error.message }]);
    } finally {
      button.disabled = false;
    }
  }

  /** Change the draft as one step that can be undone. */
  #change(label, next) {
    const before = this.#copy(this.#draft), after = this.#copy(next);
    this.#restore(next);
    steps.push({ label, isDraft: true, undo: () => this.#restore(this.#copy(before)), redo: () => this.#restore(this.#copy(after)) });
  }

  #copy(draft) { return draft === null ? null : { ...draft, points: draft.points.map((p) => [...p]), coarse: [...draft.coarse] }; }

  #restore(draft) {
    const isNew = draft !== null && draft.isDone && !this.#draft?.isDone;
    this.#draft = this.#copy(draft);
    for (const old of this.#handles) old.remove();
    this.#handles = (this.#draft?.points ?? []).map((xy, i) => this.#handle(xy, i));
    this.#chosen = null;
    for (const button of this.parts.kinds) button.setAttribute("aria-pressed", String(button.dataset.kind === this.#draft?.kind));
    this.parts.form.hidden = !this.#draft?.isDone;
    if (isNew) this.parts.loupe.hide();
    if (isNew) this.#suggest();
    this.#showBar();
    this.parts.hint.textContent = this.#draft ? this.parts.text[this.#draft.isDone ? "done_hint" : `${this.#draft.kind}_hint`] : "";
    if (!this.#draft) { this.#floor = this.#asked; this.parts.reading.replaceChildren(); this.parts.loupe.hide(); }
    this.#draw();
    this.#ask();
  }

  /** What can be done by hand while points are being set: finish, once there are enough, and drop. */
  #showBar() {
    const { place, finish } = this.parts.bar, draft = this.#draft;
    place.hidden = draft === null || draft.isDone;
    if (place.hidden) return;
    finish.hidden = draft.kind === "length"; // its second end finishes it
    finish.disabled = draft.points.length < LEAST[draft.kind];
  }

  /** Keep the coral that was named last, but never for a second outline: that is most likely of another one. */
  #suggest() {
    const { label } = this.parts;
    if (this.#draft.colony) label.value = this.#draft.colony;
    else if (this.#draft.kind === "outline" && this.parts.hasOutline(label.value.trim())) label.value = "";
    this.#tellOutlined();
  }

  /** Say where the coral that is being named has an outline in this photo already. */
  #tellOutlined() {
    const name = this.parts.label.value.trim();
    const isSecond = this.#draft?.kind === "outline" && !this.#draft.follows && this.parts.hasOutline(name);
    this.parts.outlined.textContent = isSecond ? this.parts.text.outlined.replace("{name}", name) : "";
  }

  #handle(xy, i) {
    let before = null;
    const made = handle(this.view, this.points, xy, {
      label: this.parts.text.point.replace("{n}", i + 1),
      moved: (at, how) => {
        before ??= this.#copy(this.#draft);
        this.#draft.points[i] = [...at];
        this.#draft.coarse[i] = how === "key" ? 1 : 1 / this.view.scale;
        this.#ask(); // first, so that the server reads while the page draws
        this.parts.loupe.show(at);
        this.#draw();
      },
      done: () => {
        const earlier = before, after = this.#copy(this.#draft);
        before = null;
        if (!earlier) return;
        steps.push({ label: this.parts.text.move, isDraft: true, undo: () => this.#restore(this.#copy(earlier)), redo: () => this.#restore(this.#copy(after)) });
      },
      clicked: () => { if (i === 0 && CLOSED.has(this.#draft.kind) && !this.#draft.isDone) this.finish(); },
      tapped: (at) => { if (!this.#draft.isDone) this.#add(at, 1 / this.view.scale); },
      focused: (self) => { this.#chosen = i; this.parts.loupe.show(self.xy); },
    });
    made.element.addEventListener("blur", () => { this.#chosen = null; if (this.#draft?.isDone) this.parts.loupe.hide(); });
    return made;
  }

  #clicked(xy) {
    if (!this.#draft) { this.parts.picked?.(xy); return; }
    if (this.#draft.isDone) { this.#insertNear(xy); return; }
    this.#add(this.view.inside(xy), 1 / this.view.scale);
  }

  #add(xy, coarse) {
    const draft = this.#draft;
    const points = [...draft.points, xy];
    const isDone = draft.kind === "length" && points.length === 2;
    this.#change(this.parts.text.set, { ...draft, points, coarse: [...draft.coarse, coarse], isDone });
  }

  /** Put a point between two others of a finished line, where it was clicked. */
  #insertNear(xy) {
    const { points, kind } = this.#draft;
    if (kind === "length" || kind === "corallites") return;
    const ends = points.map((a, i) => [i, a, points[i + 1] ?? (CLOSED.has(kind) ? points[0] : null)]).filter((e) => e[2]);
    const gaps = ends.map(([i, a, b]) => [distance(xy, a, b), i]).sort((a, b) => a[0] - b[0]);
    if (gaps[0][0] * this.view.scale < 12) this.#insert(gaps[0][1] + 1, this.view.inside(xy), 1 / this.view.scale);
  }

  #insert(at, xy, coarse) {
    const { points, coarse: all } = this.#draft;
    this.#change(this.parts.text.set, { ...this.#draft, points: points.toSpliced(at, 0, xy), coarse: all.toSpliced(at, 0, coarse) });
    this.#handles[at].element.focus();
  }

  /** Put a point halfway between the chosen one and the next. */
  #insertAfterChosen() {
    const { points, kind } = this.#draft, i = this.#chosen;
    const next = points[i + 1] ?? (CLOSED.has(kind) ? points[0] : null);
    if (!next || kind === "length" || kind === "corallites") return;
    this.#insert(i + 1, [(points[i][0] + next[0]) / 2, (points[i][1] + next[1]) / 2], 1 / this.view.scale);
  }

  /** Put the cross under the pointer and ask for its reading; false where nothing is being drawn. */
  #aimed(xy, event) {
    if (!this.#draft || this.#draft.isDone || event.buttons) return false;
    const [x, y] = this.view.inside(xy);
    const isThere = this.#cross && this.#cross[0] === x && this.#cross[1] === y;
    this.#cross = [x, y];
    this.#crossDoubt = 1 / this.view.scale;
    if (!isThere) this.#ask();
    return true;
  }

  #pointed(xy, event) {
    if (!this.#aimed(xy, event)) return;
    this.parts.loupe.show(this.#cross);
    this.#drawCross();
  }

  #key(event) {
    if (isText(event) || event.defaultPrevented || this.view.isClaimed) return;
    const draft = this.#draft, onButton = /^(BUTTON|A|SUMMARY)$/.test(event.target.tagName);
    const way = arrow(event);
    if (draft && !draft.isDone && way && event.target.type !== "radio" && event.target.type !== "range") {
      this.#cross = this.view.inside([this.#cross[0] + way[0], this.#cross[1] + way[1]]);
      this.#crossDoubt = 1;
      this.#ask();
      this.view.reveal(this.#cross);
      this.parts.loupe.show(this.#cross);
      this.#drawCross();
    } else if (event.ctrlKey || event.altKey || event.metaKey) return;
    else if (draft && !draft.isDone && event.key === " " && !onButton) this.#add([...this.#cross], this.#crossDoubt);
    else if (draft && event.key === "Enter" && !onButton) { if (draft.isDone) this.save(); else this.finish(); }
    else if (draft && event.key === "Escape") this.drop();
    else if (draft?.points.length && event.key === "Backspace") this.#change(this.parts.text.take_point, { ...draft, points: draft.points.slice(0, -1), coarse: draft.coarse.slice(0, -1), isDone: false });
    else if (draft && event.key === "Delete" && this.#chosen !== null) {
      const points = draft.points.filter((_, i) => i !== this.#chosen), coarse = draft.coarse.filter((_, i) => i !== this.#chosen);
      this.#change(this.parts.text.take_point, { ...draft, points, coarse, isDone: draft.isDone && points.length >= LEAST[draft.kind] });
    } else if (draft && event.key === "i" && this.#chosen !== null) this.#insertAfterChosen();
    else {
      const kind = [...this.parts.kinds].find((button) => button.dataset.key === event.key && !button.disabled);
      const radio = [...this.parts.stood].find((r) => r.dataset.key === event.key);
      if (kind) this.start(kind.dataset.kind);
      else if (radio) { radio.checked = true; this.#ask(); }
      else return;
    }
    event.preventDefault();
  }

  /** Points as they are read now: those set, and where the cross is. */
  #now() {
    const draft = this.#draft;
    const last = draft.points.at(-1);
    const isThere = this.#cross && last && Math.hypot(this.#cross[0] - last[0], this.#cross[1] - last[1]) < 2;
    const points = draft.isDone || !this.#cross || isThere ? draft.points : [...draft.points, this.#cross];
    return draft.kind === "corallites" && points.length % 2 ? points.slice(0, -1) : points;
  }

  #draw() {
    const draft = this.#draft;
    for (const path of this.lines) path.setAttribute("d", draft ? pathOf(draft.kind, draft.points) : "M0 0");
    this.#drawCross();
  }

  #drawCross() {
    const isOn = this.#draft !== null && !this.#draft.isDone && this.#cross !== null;
    this.mark.style.display = isOn ? "" : "none";
    for (const path of this.rubber) path.style.display = isOn && this.#draft.points.length ? "" : "none";
    if (!isOn) return;
    const [x, y] = this.#cross, long = 14 / this.view.scale, gap = 4 / this.view.scale;
    const d = `M${x - long} ${y}H${x - gap}M${x + gap} ${y}H${x + long}M${x} ${y - long}V${y - gap}M${x} ${y + gap}V${y + long}`;
    for (const path of this.mark.children) path.setAttribute("d", d);
    const last = this.#draft.points.at(-1);
    const isApart = this.#draft.kind === "corallites" && this.#draft.points.length % 2 === 0;
    for (const path of this.rubber) path.setAttribute("d", last && !isApart ? `M${last.join(" ")}L${x} ${y}` : "M0 0");
  }

  /** Ask for the reading of what is drawn; while an answer is on its way only the newest question waits. */
  #ask() {
    if (!this.#draft) return;
    const points = this.#now();
    if (points.length < LEAST[this.#draft.kind]) { this.#floor = this.#asked; this.#waiting = null; this.parts.reading.replaceChildren(); return; }
    const question = { number: (this.#asked += 1), since: performance.now(), body: { kind: this.#draft.kind, points, stood: this.stood, point_u_px: this.pointDoubt, key: this.view.photo.correction_key ?? "" } };
    if (this.#asking) this.#waiting = question; else this.#send(question);
  }

  /** Say the reading to those who do not see it, once it rests. */
  #speak(told) {
    clearTimeout(this.speaking);
    this.speaking = setTimeout(() => { this.parts.spoken.textContent = told.values.length ? `${told.values[0].label} ${told.values[0].text}` : (told.problems[0]?.message ?? ""); }, 700);
  }

  /** Say how coarsely points were set, where that can be done better. */
  #tellDoubt() {
    if (this.pointDoubt < 1.5) return;
    const line = document.createElement("p");
    line.className = "hint";
    line.textContent = this.parts.text.coarse.replace("{n}", number(this.pointDoubt, 1));
    this.parts.reading.append(line);
  }

  async #send(question) {
    this.#asking = true;
    const sent = performance.now();
    try {
      const told = await post(`/photos/${this.view.photo.photo_id}/measure/try`, question.body, { priority: "high" });
      const got = performance.now();
      // while points keep moving the newest answer is the best there is; one for something dropped is not shown
      if (this.#draft && question.number > this.#floor) {
        showReading(this.parts.reading, told, this.parts.text, this.#draft.isDone);
        this.#speak(told);
        if (told.values.length && question.body.kind !== "colour") this.#tellDoubt();
        requestAnimationFrame(() => setTimeout(() => performance.measure("mm-reading", { start: question.since, end: performance.now(), detail: { sent, got } })));
        if (told.key !== (this.view.photo.correction_key ?? "")) this.parts.correctedAnew?.(told.key);
      }
    } catch (error) {
      say(error.told?.problems ?? [{ message: error.message }]);
    } finally {
      this.#asking = false;
      const next = this.#waiting;
      this.#waiting = null;
      if (next && this.#draft) this.#send(next);
    }
  }
}
