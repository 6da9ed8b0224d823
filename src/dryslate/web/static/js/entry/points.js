// Naming points on photos: one crop after the other, tiles fetched ahead, answers kept until the server stored them.

import { say, words } from "../page.js";
import { completeIn, standsFor } from "./complete.js";
import { newMark, Sender } from "./sender.js";

const start = words("start");
const text = words("words");
const at = (id) => document.getElementById(id);
const input = at("name");
const crop = at("crop").getContext("2d", { alpha: false });
const inset = at("inset").getContext("2d", { alpha: false });
const SIDE = 600;
const AHEAD = 10;
const SEND_MS = 250;
const placeOf = (photo, x, y) => `${photo} ${x.toFixed(2)} ${y.toFixed(2)}`;

/** Every point in the order it is asked for: {frame, x, y, key, row_no, cells}. */
const points = start.frames.flatMap((frame, n) => frame.points.map(([x, y], k) => ({ frame, n, k, x, y, key: newMark(), row_no: null, cells: null })));
const byPlace = new Map(points.map((point) => [placeOf(point.frame.photo_id, point.x, point.y), point]));
let now = 0;
let timer = 0;

for (const row of start.answers) {
  const point = byPlace.get(placeOf(row.photo ?? "", row.x ?? 0, row.y ?? 0));
  if (point) { point.row_no = row.row_no; point.cells = cellsOf(point, row.category, row.name, row.unreadable); }
}

function cellsOf(point, category, name, unreadable) {
  const all = { photo: point.frame.photo_id, x_px: String(point.x), y_px: String(point.y), category, name, unreadable };
  return Object.fromEntries(Object.entries(all).filter(([, value]) => value));
}

// The pictures: tiles of the level that fits the crop, drawn at once where they were fetched ahead

const tiles = new Map();

function tile(frame, level, column, row) {
  const path = `/photos/${frame.photo_id}/tiles/${frame.variant}/${level}/${column}_${row}.jpg?k=${frame.key}`;
  if (!tiles.has(path)) {
    const made = { bitmap: null };
    made.ready = fetch(path).then((answer) => (answer.ok ? answer.blob() : null)).then((blob) => blob && createImageBitmap(blob)).then((bitmap) => { made.bitmap = bitmap; }, () => tiles.delete(path));
    tiles.set(path, made);
    for (const old of tiles.keys()) { if (tiles.size <= 240) break; tiles.get(old).bitmap?.close(); tiles.delete(old); }
  }
  return tiles.get(path);
}

const widthOf = (frame) => (frame.px_per_mm ? start.mm * frame.px_per_mm : start.share * Math.max(frame.width, frame.height));

/** The tiles of a point's crop, each with where it is drawn. */
function partsOf(point) {
  const { frame, x, y } = point;
  const wide = widthOf(frame);
  const level = Math.max(0, Math.min(frame.n_levels - 1, Math.floor(Math.log2(wide / SIDE))));
  const step = frame.tile * 2 ** level;
  const [left, top] = [x + 0.5 - wide / 2, y + 0.5 - wide / 2];
  const parts = [];
  for (let row = Math.max(0, Math.floor(top / step)); row * step < Math.min(frame.height, top + wide); row++) {
    for (let column = Math.max(0, Math.floor(left / step)); column * step < Math.min(frame.width, left + wide); column++) {
      parts.push({ tile: tile(frame, level, column, row), x: ((column * step - left) / wide) * SIDE, y: ((row * step - top) / wide) * SIDE, scale: (2 ** level / wide) * SIDE });
    }
  }
  return parts;
}

function drawCrop(point) {
  const parts = partsOf(point);
  crop.fillStyle = "#6b6b6b";
  crop.fillRect(0, 0, SIDE, SIDE);
  for (const part of parts) if (part.tile.bitmap) crop.drawImage(part.tile.bitmap, part.x, part.y, part.tile.bitmap.width * part.scale, part.tile.bitmap.height * part.scale);
  const middle = SIDE / 2;
  for (const [colour, width] of [["#000000", 5], ["#ffffff", 2]]) {
    crop.strokeStyle = colour;
    crop.lineWidth = width;
    crop.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { crop.moveTo(middle + 9 * dx, middle + 9 * dy); crop.lineTo(middle + 34 * dx, middle + 34 * dy); }
    crop.stroke();
  }
  const missing = parts.filter((part) => !part.tile.bitmap);
  if (missing.length) Promise.all(missing.map((part) => part.tile.ready)).then(() => { if (points[now] === point && missing.some((part) => part.tile.bitmap)) drawCrop(point); });
  at("crop").dataset.missing = missing.length;
}

const wholes = new Map();

function whole(frame) {
  if (!wholes.has(frame)) {
    const made = { bitmap: null };
    made.ready = fetch(`/photos/${frame.photo_id}/thumb/${frame.variant}.jpg`).then((answer) => answer.blob()).then(createImageBitmap).then((bitmap) => { made.bitmap = bitmap; }, () => wholes.delete(frame));
    wholes.set(frame, made);
  }
  return wholes.get(frame);
}

function drawInset(point) {
  const { frame, x, y } = point;
  const canvas = inset.canvas;
  const scale = Math.min(canvas.width / frame.width, canvas.height / frame.height);
  inset.fillStyle = "#6b6b6b";
  inset.fillRect(0, 0, canvas.width, canvas.height);
  const picture = whole(frame);
  if (picture.bitmap) inset.drawImage(picture.bitmap, 0, 0, frame.width * scale, frame.height * scale);
  else picture.ready.then(() => { if (points[now] === point && picture.bitmap) drawInset(point); });
  const wide = Math.max(8, widthOf(frame) * scale);
  for (const [colour, width] of [["#000000", 5], ["#ffffff", 2]]) { inset.strokeStyle = colour; inset.lineWidth = width; inset.strokeRect((x + 0.5) * scale - wide / 2, (y + 0.5) * scale - wide / 2, wide, wide); }
}

function ahead() {
  for (const point of points.slice(now + 1, now + 1 + AHEAD)) { partsOf(point); whole(point.frame); }
}

// One point after the other

const labelOf = (cells) => (cells ? (cells.unreadable ? `? ${cells.unreadable}` : cells.name ?? cells.category ?? "") : "");

function show() {
  const point = points[now];
  drawCrop(point);
  drawInset(point);
  input.value = labelOf(point.cells);
  if (input.value) input.select();
  at("which").textContent = "";
  const done = points.reduce((n, one) => n + Boolean(one.cells), 0);
  at("progress").textContent = text.progress.replace("{n}", now + 1).replace("{all}", points.length).replace("{done}", done);
  const wide = widthOf(point.frame);
  at("crop-words").textContent = point.frame.is_broken ? text.broken : point.frame.px_per_mm ? text.wide.replace("{n}", start.mm) : text.px.replace("{n}", Math.round(wide));
  at("inset-words").textContent = `${text.photo.replace("{n}", point.n + 1).replace("{all}", start.frames.length)} · ${point.frame.name}`;
  at("finished").hidden = done < points.length;
  setTimeout(ahead, 0);
}

function go(to) {
  now = Math.max(0, Math.min(points.length - 1, to));
  show();
}

const sender = new Sender({
  path: `/records/units/${start.unit}/lines`,
  name: `dryslate points ${start.unit} ${start.observer}`,
  seal: start.seal,
  ready: () => true,
  told: {
    stored: (answer) => { for (const point of points) if (point.key in answer.row_nos) point.row_no = answer.row_nos[point.key]; },
    other: () => { at("other").hidden = false; at("reload").focus(); },
    failed: (error) => say(error.told?.problems ?? [{ message: error.message }]),
    changed: showState,
  },
});

function showState() {
  const n = sender.open;
  const state = { lost: text.lost, strange: text.strange, sending: text.storing }[sender.state] ?? text.waiting;
  at("state").textContent = n || sender.state === "strange" ? state.replace("{n}", n) : text.allStored;
  at("state").className = ["lost", "strange"].includes(sender.state) ? "warn" : "";
  at("state").dataset.open = n;
}

/** Take what is typed as the answer of this point, and go on. */
function take() {
  const point = points[now];
  const typed = input.value.trim();
  const option = standsFor(start.options, typed);
  let cells = null;
  if (option) {
    const [kind, category, word] = option[0].split("\t");
    cells = cellsOf(point, kind === "u" ? "" : category, kind === "n" ? word : "", kind === "u" ? word : "");
  } else if (typed.startsWith("?") && typed.slice(1).trim()) cells = cellsOf(point, "", "", typed.slice(1).trim());
  if (!cells) {
    if (!typed) return;
    const low = typed.toLowerCase();
    at("which").textContent = start.options.some(([, label]) => label.toLowerCase().startsWith(low)) ? text.which : text.none;
    return;
  }
  if (JSON.stringify(cells) !== JSON.stringify(point.cells)) {
    point.cells = cells;
    sender.change({ key: point.key, kind: "point", row_no: point.row_no, cells, number: now + 1 });
    clearTimeout(timer);
    timer = setTimeout(() => sender.send(), SEND_MS);
  }
  go(now + 1);
}

completeIn(at("answer"), () => start.options, () => {});
at("answer").addEventListener("submit", (event) => { event.preventDefault(); take(); });
input.addEventListener("keydown", (event) => {
  const isWhole = input.selectionStart === 0 && input.selectionEnd === input.value.length;
  if (event.key === "ArrowLeft" && isWhole) { event.preventDefault(); go(now - 1); }
  else if (event.key === "ArrowRight" && isWhole) { event.preventDefault(); go(now + 1); }
});
at("before").addEventListener("click", () => { go(now - 1); input.focus(); });
at("after").addEventListener("click", () => { go(now + 1); input.focus(); });
at("reload").addEventListener("click", () => location.reload());

// What an earlier page could not send is put over what is stored
let dropped = 0;
for (const change of sender.restore()) {
  const point = byPlace.get(placeOf(change.cells?.photo ?? "", Number(change.cells?.x_px ?? 0), Number(change.cells?.y_px ?? 0)));
  const isInBatch = sender.batch?.changes.includes(change);
  if (!point || (point.row_no !== null && change.row_no === null && !isInBatch)) { sender.waiting.delete(change.key); dropped += 1; continue; }
  point.key = change.key;
  point.cells = change.cells;
}
if (dropped) say([{ message: text.dropped.replace("{n}", dropped) }], "warn");
sender.keep();
if (sender.open) sender.send();
const row = location.hash.startsWith("#row-") ? points.findIndex((point) => point.row_no === Number(location.hash.slice(5))) : -1;
const open = points.findIndex((point) => !point.cells);
go(row >= 0 ? row : Math.max(0, open));
input.focus();
