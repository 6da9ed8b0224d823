// The same spots in two photos, set by hand: the server says how they fit and where they put the outline.

import { isTyping, post, say, words } from "../page.js";
import { arrow, handle, open, svg } from "./viewer.js";
import { connectButtons, steps } from "./undo.js";
import { Loupe } from "./loupe.js";

const REST_MS = 250;
const FEWEST = 4;
const MOST = 60;
const at = (id) => document.getElementById(id);
const text = words("words");
const given = words("pairs");
let pairs = given.pairs; // of each: [point in the first photo or null, point in the second or null]
let saved = JSON.stringify(pairs);
let tried = null, resting = null, asked = 0;

const isWhole = (pair) => pair[0] !== null && pair[1] !== null;
const whole = () => pairs.filter(isWhole);
const changed = (i, k, xy) => pairs.map((pair, n) => (n === i ? pair.map((p, side) => (side === k ? xy : p)) : pair));

/** A line drawn twice, dark under light, so that it is seen on any ground. */
function twice(points, closed, className) {
  const d = `M${points.map((p) => p.join(" ")).join("L")}${closed ? "Z" : ""}`;
  const group = svg("g", { class: className });
  group.append(svg("path", { d, class: "under" }), svg("path", { d, class: "over" }));
  return group;
}

function bounds(points) {
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

/** One of the two photos, with its points and its cross. */
class Side {
  constructor(view, k) {
    this.view = view;
    this.k = k;
    this.stage = at(`stage-${k}`);
    this.loupe = new Loupe(at(`loupe-${k}`), view);
    this.loupe.others = () => pairs.map((pair) => pair[k]).filter(Boolean);
    this.lines = view.layer("lines");
    this.mark = svg("g", { class: "cross" });
    this.mark.append(svg("path", { class: "under" }), svg("path", {}));
    this.names = svg("g");
    this.spots = svg("g");
    view.layer("points").append(this.mark, this.names, this.spots);
    this.handles = [];
    this.cross = null;
    this.isPointed = false;
    view.on("change", () => this.drawCross());
    view.on("click", ({ xy }) => this.set(view.inside(xy)));
    view.on("move", ({ xy, event }) => { if (!event.buttons) this.point(view.inside(xy)); });
    this.stage.addEventListener("pointerleave", () => this.leave());
    this.stage.addEventListener("focus", () => { this.cross ??= this.middle(); this.isPointed = true; this.drawCross(); });
    this.stage.addEventListener("blur", () => this.leave());
    this.stage.addEventListener("keydown", (event) => this.key(event));
  }

  middle() {
    const [x0, y0, x1, y1] = this.view.visible();
    return [Math.round((x0 + x1) / 2), Math.round((y0 + y1) / 2)];
  }

  point(xy) {
    this.cross = xy;
    this.isPointed = true;
    this.loupe.show(xy);
    this.drawCross();
  }

  leave() {
    if (document.activeElement === this.stage) return;
    this.isPointed = false;
    this.loupe.hide();
    this.drawCross();
  }

  /** Set this photo's point of the pair that waits for it, or of a new pair. */
  set(xy) {
    let i = pairs.findIndex((pair) => pair[this.k] === null);
    if (i < 0 && pairs.length >= MOST) return;
    const next = i < 0 ? [...pairs, this.k === 0 ? [xy, null] : [null, xy]] : changed(i, this.k, xy);
    if (i < 0) i = pairs.length;
    const hadFocus = this.stage.contains(document.activeElement);
    step(text.set, next);
    const other = sides[1 - this.k];
    if (hadFocus) (pairs[i][1 - this.k] === null ? other : sides[0]).stage.focus({ preventScroll: innerWidth > 900 });
  }

  key(event) {
    if (isTyping(event) && !event.ctrlKey) return;
    const way = event.target === this.stage ? arrow(event) : null, { key } = event;
    const chosen = this.handles.findIndex((one) => one?.element === event.target);
    const isBare = !event.ctrlKey && !event.altKey && !event.metaKey;
    if (way) {
      this.point(this.view.inside([this.cross[0] + way[0], this.cross[1] + way[1]]));
      this.view.reveal(this.cross);
    } else if (!isBare) return;
    else if (key === " " && event.target === this.stage) this.set([...this.cross]);
    else if (key === "o") sides[1 - this.k].stage.focus();
    else if (key === "+" || key === "=") this.view.zoomBy(1.5);
    else if (key === "-" || key === "−") this.view.zoomBy(1 / 1.5);
    else if (key === "0") this.view.whole();
    else if (key === "c") this.home();
    else if (/^[1-9]$/.test(key) && this.handles[key - 1]) this.choose(key - 1);
    else if (key === "Delete" && chosen >= 0) { takeOut(chosen); this.stage.focus(); }
    else if (key === "Escape" && chosen >= 0) this.stage.focus();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  choose(i) {
    this.view.reveal(pairs[i][this.k]);
    this.handles[i].element.focus({ preventScroll: true });
  }

  /** Show the colony. */
  home() {
    const outline = this.k === 0 ? given.outline : tried?.outline.length ? tried.outline : given.carried;
    if (outline.length) this.view.show(bounds(outline), 0.8); else this.view.whole();
  }

  /** Put the points anew. */
  drawPoints() {
    for (const old of this.handles) old?.remove();
    this.handles = pairs.map((pair, i) => (pair[this.k] === null ? null : this.handle(pair[this.k], i)));
    this.drawMarks();
  }

  handle(xy, i) {
    const made = handle(this.view, this.spots, xy, {
      label: text.point.replace("{n}", i + 1),
      moved: (to) => { pairs = changed(i, this.k, [...to]); this.loupe.show(to); this.drawMarks(); ask(); },
      done: (before) => {
        const after = pairs, earlier = changed(i, this.k, before);
        steps.push({ label: text.move, undo: () => put(earlier), redo: () => put(after) });
      },
      focused: (self) => this.loupe.show(self.xy),
    });
    made.element.addEventListener("blur", () => this.loupe.hide());
    return made;
  }

  /** Number the points, and draw what is known of them. */
  drawMarks() {
    let n = -1;
    const gaps = [];
    const names = pairs.map((pair, i) => {
      const isAlone = !isWhole(pair), point = pair[this.k];
      if (!isAlone) n += 1;
      const fits = isAlone ? null : tried?.pairs[n];
      this.handles[i]?.element.classList.toggle("alone", isAlone);
      if (point === null) return null;
      if (fits && this.k === 1) gaps.push(twice([point, fits.placed], false, "gap"));
      const name = svg("text", { x: point[0], y: point[1], class: "label" });
      name.textContent = fits?.is_odd ? `${i + 1} ?` : String(i + 1);
      return name;
    });
    this.names.replaceChildren(...gaps, ...names.filter(Boolean));
  }

  drawOutline() {
    if (this.k === 0) { this.lines.replaceChildren(twice(given.outline, true, "now")); return; }
    const made = given.carried.length ? [twice(given.carried, true, "was")] : [];
    if (tried?.outline.length) {
      const d = `M${tried.outline.map((p) => p.join(" ")).join("L")}Z`;
      made.push(svg("path", { d, class: "band", "stroke-width": 2 * tried.misfit_px }), twice(tried.outline, true, "now"));
    }
    this.lines.replaceChildren(...made);
  }

  drawCross() {
    const isShown = this.isPointed && this.cross !== null && pairs.length < MOST;
    this.mark.style.display = isShown ? "" : "none";
    if (!isShown) return;
    const [x, y] = this.cross, long = 14 / this.view.scale, gap = 4 / this.view.scale;
    const d = `M${x - long} ${y}H${x - gap}M${x + gap} ${y}H${x + long}M${x} ${y - long}V${y - gap}M${x} ${y + gap}V${y + long}`;
    for (const path of this.mark.children) path.setAttribute("d", d);
  }
}

const sides = [];
for (const k of [0, 1]) sides.push(new Side(await open(at(`stage-${k}`), { ...given.photos[k], words: text }), k));

/** Let other pairs hold. */
function put(next) {
  pairs = next;
  for (const side of sides) side.drawPoints();
  ask();
}

/** Let other pairs hold, as a step that can be undone. */
function step(label, next) {
  const before = pairs;
  put(next);
  steps.push({ label, undo: () => put(before), redo: () => put(next) });
}

function takeOut(i) { step(text.take, pairs.filter((_, n) => n !== i)); }

/** Ask the server what the pairs give, once they rest. */
function ask() {
  clearTimeout(resting);
  const mine = (asked += 1), set = whole();
  at("pairs-save").disabled = true;
  hint();
  if (set.length < FEWEST) { show(null); return; }
  list();
  resting = setTimeout(async () => {
    try {
      const told = await post(`${given.address}/try`, { pairs: set });
      if (mine === asked) show(told);
    } catch (error) { say(error.told?.problems ?? [{ message: error.message }]); }
  }, REST_MS);
}

function show(told) {
  tried = told;
  at("pairs-try").innerHTML = told?.html ?? ""; // our own server's template, which escapes what people wrote
  at("pairs-save").disabled = !told?.may_save;
  for (const side of sides) { side.drawOutline(); side.drawMarks(); }
  list();
}

function hint() {
  const open = pairs.findIndex((pair) => !isWhole(pair)), left = FEWEST - whole().length;
  if (open >= 0) at("pairs-hint").textContent = (pairs[open][0] === null ? text.now_first : text.now_second).replace("{n}", open + 1);
  else if (left > 0) at("pairs-hint").textContent = (left === 1 ? text.one_left : text.left).replace("{n}", left);
  else at("pairs-hint").textContent = text.look;
}

function button(label, what, name) {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: label });
  if (name) made.setAttribute("aria-label", name);
  made.addEventListener("click", what);
  return made;
}

function list() {
  const held = document.activeElement?.closest?.("#pairs-list li"), row = held ? [...held.parentNode.children].indexOf(held) : -1;
  const place = held ? [...held.children].indexOf(document.activeElement) : -1;
  let n = -1;
  at("pairs-list").replaceChildren(...pairs.map((pair, i) => {
    if (isWhole(pair)) n += 1;
    const fits = isWhole(pair) ? tried?.pairs[n] : null;
    const line = document.createElement("li"), off = Object.assign(document.createElement("span"), { className: "off" });
    line.classList.toggle("odd", Boolean(fits?.is_odd));
    if (!isWhole(pair)) off.textContent = pair[0] === null ? text.lacks_first : text.lacks_second;
    else if (fits) off.textContent = fits.is_odd ? `${fits.off} · ${text.odd}` : fits.off;
    line.append(
      button(String(i + 1), () => { for (const side of sides) if (pair[side.k]) side.view.show([...pair[side.k], ...pair[side.k]], 4); }, text.show.replace("{n}", i + 1)),
      off,
      button(text.out, () => takeOut(i), text.out_n.replace("{n}", i + 1)),
    );
    return line;
  }));
  const rows = at("pairs-list").children;
  if (row >= 0) (rows[Math.min(row, rows.length - 1)]?.children[place] ?? at("desk")).focus();
}

async function save() {
  const now = JSON.stringify(pairs);
  at("pairs-save").disabled = true;
  try {
    const told = await post(given.address, { pairs: whole() });
    saved = now;
    location.assign(told.address);
  } catch (error) {
    say(error.told?.problems ?? [{ message: error.message }]);
    ask();
  }
}

connectButtons(at("undo"), at("redo"));
at("pairs-save").addEventListener("click", save);
window.addEventListener("beforeunload", (event) => { if (JSON.stringify(pairs) !== saved) event.preventDefault(); });
for (const made of document.querySelectorAll("button[data-zoom]")) {
  made.addEventListener("click", () => {
    const side = sides[made.dataset.side], how = made.dataset.zoom;
    if (how === "whole") side.view.whole(); else if (how === "colony") side.home(); else side.view.zoomBy(Number(how));
  });
}
put(pairs);
for (const side of sides) { side.drawOutline(); side.home(); }
document.documentElement.dataset.pairs = "open";
