// Typing what was noted in a unit: lines and their cells, checks by the server as you type, undo, and what is not stored yet.

import { post, say, words } from "../page.js";
import { completeIn, standsFor } from "./complete.js";
import { cellOf, hasShares, lineRow, number, rowOf, sectionTable, showFaults, sideBySide } from "./grid.js";
import { follow } from "./paper.js";
import { newMark, Sender } from "./sender.js";

const start = words("start");
const text = words("words");
const at = (id) => document.getElementById(id);
const grids = at("grids");
const path = `/records/units/${start.unit}`;
const sectionOf = Object.fromEntries(start.sections.map((section) => [section.kind, section]));
const bodies = {};
const CHECK_MS = 100;

/** Lines in the order of the page; a line without anything typed is no line yet. */
let lines = [];
let told = { faults: [], held: [], whole: {}, shares: {} };
let round = 0;
let timer = 0;
const undone = [];

const optionsOf = (cell) => start.choices[cell.dataset.list] ?? [];
const lineOf = (node) => lines.find((line) => line.key === node?.closest?.("tr[data-key]")?.dataset.key);
const columnsOf = (kind) => sectionOf[kind]?.columns ?? [];
const carried = (line) => new Set(columnsOf(line.kind).filter((column) => column.carry).map((column) => column.field));
const isBlank = (line) => !Object.entries(line.cells).some(([field, value]) => value.trim() && !(line.isNew && carried(line).has(field)));
const isHere = (line) => lineOf(document.activeElement) === line;

/** What a cell shows: the word for a value that has one in the page's language. */
function labelOf(column, value) {
  const option = column.list ? (start.choices[column.list] ?? []).find(([one]) => one === value) : null;
  return option ? option[1] : value;
}

function valueOf(cell) {
  if (cell.type === "checkbox") return cell.checked ? "yes" : "";
  const option = cell.dataset.list ? standsFor(optionsOf(cell), cell.value) : null;
  return option && option[1] === cell.value ? option[0] : cell.value;
}

const sender = new Sender({
  path: `${path}/lines`,
  name: `dryslate lines ${start.unit} ${start.observer}`,
  seal: start.seal,
  ready: (change) => { const line = lines.find((one) => one.key === change.key); return !line || ((!isHere(line) || line.isSettled) && !told.held.includes(line.key) && line.checked === JSON.stringify(line.cells)); },
  told: { stored, other, failed: (error) => say(error.told?.problems ?? [{ message: error.message }]), changed: showState },
});

/** A new line: it takes over where the line above ended. */
function newLine(kind, above) {
  const cells = {};
  for (const { field, carry } of columnsOf(kind)) {
    if (!carry) continue;
    if (typeof carry === "string") cells[field] = above?.cells[carry] ?? (above ? "" : "0");
    else {
      const before = Number((above?.cells[field] ?? "0").replace(",", "."));
      cells[field] = Number.isFinite(before) ? String(Number((before + carry).toFixed(6))) : "";
    }
    if (!cells[field]) delete cells[field];
  }
  return { key: newMark(), kind, row_no: null, cells, isNew: true };
}

/** Whether a line ends where the tape does, so that none can follow it. */
function isLast(line) {
  const column = columnsOf(line.kind).find((one) => one.carry);
  if (!column || !start.end_m || !["intercept", "point"].includes(line.kind)) return false;
  const said = Number((line.cells[typeof column.carry === "string" ? column.carry : column.field] ?? "").replace(",", ".") || NaN);
  return typeof column.carry === "string" ? said >= start.end_m - 1e-6 : said + column.carry > start.end_m + 1e-6;
}

const ofKind = (kind) => lines.filter((line) => line.kind === kind);

function addLine(kind, after = ofKind(kind).at(-1)) {
  const line = newLine(kind, after);
  lines.splice(after ? lines.indexOf(after) + 1 : lines.length, 0, line);
  const row = lineRow(line, sectionOf[kind], 0, labelOf);
  const behind = after ? (rowOf(after.key).nextElementSibling?.matches(".told") ? rowOf(after.key).nextElementSibling : rowOf(after.key)) : null;
  if (behind) behind.after(row); else bodies[kind].prepend(row);
  number(bodies[kind]);
  return line;
}

/** Draw every line anew, with one blank line at the end of each grid. */
function draw() {
  const field = document.activeElement?.dataset?.field;
  const key = lineOf(document.activeElement)?.key;
  for (const [kind, body] of Object.entries(bodies)) {
    body.replaceChildren(...ofKind(kind).map((line, n) => lineRow(line, sectionOf[kind], n + 1, labelOf)));
    const last = ofKind(kind).at(-1);
    if (!last || (!isBlank(last) && !isLast(last))) addLine(kind);
  }
  if (key) cellOf(key, field)?.focus();
  showTold();
}

const changeOf = (line) => ({ key: line.key, kind: line.kind, row_no: line.row_no, cells: { ...line.cells }, number: ofKind(line.kind).indexOf(line) + 1 });

/** Something in a line changed: keep it, check it. */
function touch(line) {
  if (isBlank(line)) { if (line.row_no === null && !sender.isWaiting(line.key)) return check(); sender.remove(line.key, line.row_no); }
  else sender.change(changeOf(line));
  if (ofKind(line.kind).at(-1) === line && !isBlank(line) && !isLast(line)) addLine(line.kind, line);
  check();
}

/** The next blank line begins where this one now ends. */
function carryOn(line) {
  const below = ofKind(line.kind)[ofKind(line.kind).indexOf(line) + 1];
  if (!below || !isBlank(below) || isHere(below)) return;
  if (isLast(line)) { // the tape is full: nothing comes after
    if (below.row_no !== null || sender.isWaiting(below.key) || ofKind(line.kind).at(-1) !== below) return;
    lines = lines.filter((one) => one !== below);
    rowOf(below.key)?.remove();
    return;
  }
  below.cells = newLine(line.kind, line).cells;
  for (const field of carried(below)) { const cell = cellOf(below.key, field); if (cell) cell.value = below.cells[field] ?? ""; }
}

function check() {
  clearTimeout(timer);
  timer = setTimeout(runCheck, CHECK_MS);
}

async function runCheck() {
  const mine = ++round;
  const asked = lines.filter((line) => !isBlank(line));
  const seen = new Map(asked.map((line) => [line.key, JSON.stringify(line.cells)]));
  try {
    const answer = await post(`${path}/check`, { lines: asked.map(changeOf) });
    if (mine !== round) return;
    told = answer;
    if (sender.state === "idle") at("said").replaceChildren();
    for (const line of asked) line.checked = seen.get(line.key);
    writeOut();
    showTold();
  } catch (error) {
    if (error.status && error.status !== 403) say(error.told?.problems ?? [{ message: error.message }]);
    if (error.status === 403) sender.state = "strange";
    else if (!error.status && sender.open) { sender.state = "lost"; timer = setTimeout(runCheck, 1500); }
    showState();
    return;
  }
  sender.send();
}

/** First letters of a name are written out as a whole name. */
function writeOut() {
  for (const [key, name] of Object.entries(told.whole)) {
    const line = lines.find((one) => one.key === key);
    const cell = line && cellOf(key, "name");
    if (!line || !cell || line.cells.name === name || cell === document.activeElement) continue;
    line.cells.name = name;
    cell.value = name;
    if (sender.isWaiting(key)) sender.change(changeOf(line));
    line.checked = JSON.stringify(line.cells);
  }
}

/** Faults of the line under the hand are shown for the cells that the hand has passed. */
function isShown(fault, line) {
  if (!isHere(line) || !fault.field) return !isHere(line) || Boolean(fault.field);
  const order = columnsOf(line.kind).map((column) => column.field);
  const here = order.indexOf(document.activeElement.dataset.field);
  const there = order.indexOf(fault.field);
  return there < here || (there === here && document.activeElement.getAttribute("role") !== "combobox" && !/blank|gap/.test(fault.slug));
}

function showTold() {
  for (const line of lines) {
    const order = columnsOf(line.kind).map((column) => column.field);
    const faults = told.faults.filter((fault) => fault.key === line.key && isShown(fault, line));
    showFaults(line.key, faults.sort((a, b) => order.indexOf(a.field) - order.indexOf(b.field)));
    const share = rowOf(line.key)?.querySelector(".share");
    if (share) { const sum = told.shares[line.key]; share.textContent = sum === undefined ? "" : sum.toLocaleString(document.documentElement.lang, { maximumFractionDigits: 1 }); share.toggleAttribute("data-off", sum !== undefined && Math.abs(sum - 100) > 0.5); }
  }
  if (document.activeElement?.closest(".grid")) document.activeElement.scrollIntoView({ block: "nearest" }); // faults above push it down
  at("sums").textContent = [...(told.sums ?? []), told.is_whole ? text.whole : ""].filter(Boolean).join(" · ");
  at("share").hidden = told.share === null || told.share === undefined;
  if (told.share !== null && told.share !== undefined) at("share").value = told.share;
  const unit = told.faults.filter((fault) => !fault.key).map((fault) => { const p = document.createElement("p"); p.className = "hint"; p.dataset.slug = fault.slug; const b = document.createElement("b"); b.textContent = fault.message; if (fault.lang) b.lang = fault.lang; p.append(b, ` ${fault.fix}`); return p; });
  at("unit-faults").replaceChildren(...unit);
  showState();
}

function showState() {
  const n = sender.open;
  const held = told.held.filter((key) => sender.isWaiting(key)).length;
  const state = { lost: text.lost, strange: text.strange, sending: text.storing }[sender.state] ?? (n > held ? text.waiting : text.allStored);
  const parts = [n || sender.state === "strange" ? state.replace("{n}", n) : text.allStored];
  if (n && n === held && sender.state === "idle") parts.length = 0;
  if (held) parts.push(text.held.replace("{n}", held));
  at("state").textContent = parts.join(" · ");
  at("state").className = ["lost", "strange"].includes(sender.state) ? "warn" : "";
  at("state").dataset.open = n;
  at("undo").disabled = !undone.length;
}

/** The server stored a batch: its lines have their numbers; a line that is there twice is one. */
function stored(answer) {
  for (const [key, rowNo] of Object.entries(answer.row_nos)) {
    const line = lines.find((one) => one.key === key);
    const twin = lines.find((one) => one.row_no === rowNo && one.key !== key);
    if (line && twin) { lines = lines.filter((one) => one !== twin); rowOf(twin.key)?.remove(); }
    if (line) { line.row_no = rowNo; line.isNew = false; }
  }
}

// Two people on one unit

let theirs = null;

async function other() {
  try { theirs = await fetch(`${path}/lines`, { headers: { accept: "application/json" } }).then((answer) => answer.json()); } catch { return; }
  const mine = [...sender.waiting.values()];
  const pairs = mine.map((change) => ({ kind: change.kind ?? lines.find((line) => line.row_no === change.row_no)?.kind ?? start.sections[0].kind, mine: change.gone ? null : change, theirs: theirs.lines.find((line) => line.row_no === change.row_no) ?? null }));
  const box = at("other");
  const title = document.createElement("h2");
  title.textContent = text.otherTitle;
  title.tabIndex = -1;
  const said = document.createElement("p");
  said.textContent = text.otherText.replace("{n}", mine.length);
  const keep = document.createElement("button");
  keep.textContent = text.keepMine;
  keep.className = "main";
  keep.addEventListener("click", () => { box.hidden = true; refresh(theirs); sender.goOn(theirs.seal); check(); });
  const drop = document.createElement("button");
  drop.textContent = text.dropMine;
  drop.addEventListener("click", () => { box.hidden = true; sender.dropAll(); refresh(theirs); sender.goOn(theirs.seal); check(); });
  const keys = document.createElement("p");
  keys.append(keep, " ", drop);
  box.replaceChildren(title, said, sideBySide(pairs, columnsOf, labelOf), keys);
  box.className = "ask";
  box.hidden = false;
  title.focus();
}

/** Show what is stored now, with what waits here put over it. */
function refresh(fresh) {
  const keyOf = new Map(lines.filter((line) => line.row_no !== null).map((line) => [line.row_no, line.key]));
  lines = fresh.lines.map((line) => ({ ...line, key: keyOf.get(line.row_no) ?? line.key }));
  overlay([...sender.waiting.values()]);
  undone.length = 0;
  draw();
}

/** Put changes that are not stored over what is. */
function overlay(changes) {
  for (const change of changes) {
    const line = lines.find((one) => one.key === change.key || (change.row_no !== null && one.row_no === change.row_no));
    if (change.gone) { if (line) lines = lines.filter((one) => one !== line); }
    else if (line) { line.cells = { ...change.cells }; line.key = change.key; }
    else lines.push({ key: change.key, kind: change.kind, row_no: null, cells: { ...change.cells }, isNew: false });
  }
}

// Undo: each finished change of a cell, each line taken out or put in

function undo() {
  const last = undone.pop();
  if (!last) return;
  if (last.line) {
    const line = { ...last.line, row_no: sender.waiting.get(last.line.key)?.gone ? last.line.row_no : null };
    if (line.row_no === null) line.key = newMark();
    lines.splice(last.at, 0, line);
    draw();
    line.isSettled = true;
    touch(line);
    cellOf(line.key, columnsOf(line.kind)[0].field)?.focus();
    return;
  }
  const line = lines.find((one) => one.key === last.key);
  if (!line) return undo();
  if (last.before) line.cells[last.field] = last.before; else delete line.cells[last.field];
  const cell = cellOf(line.key, last.field);
  if (cell?.type === "checkbox") cell.checked = Boolean(last.before);
  else if (cell) { cell.value = labelOf(columnsOf(line.kind).find((column) => column.field === last.field), last.before); was.set(cell, last.before); }
  cell?.focus();
  line.isSettled = true;
  touch(line);
}

function takeOut(line) {
  const rows = ofKind(line.kind);
  const next = rows[rows.indexOf(line) + 1] ?? rows[rows.indexOf(line) - 1];
  undone.push({ line: { ...line, cells: { ...line.cells } }, at: lines.indexOf(line) });
  lines = lines.filter((one) => one !== line);
  sender.remove(line.key, line.row_no);
  draw();
  const there = lines.includes(next) ? next : ofKind(line.kind).at(-1);
  cellOf(there.key, columnsOf(line.kind)[0].field)?.focus();
  check();
}

// The hands

const was = new WeakMap();

function typed(cell) {
  const line = lineOf(cell);
  if (!line) return;
  line.isSettled = false;
  const value = valueOf(cell);
  if (value) line.cells[cell.dataset.field] = value; else delete line.cells[cell.dataset.field];
  if (line.isNew && !isBlank(line)) line.isNew = false;
  touch(line);
  carryOn(line);
}

/** A cell is left: what it held before can be had back. */
function left(cell) {
  const line = lineOf(cell);
  const before = was.get(cell);
  if (!line || before === undefined || before === valueOf(cell)) return;
  undone.push({ key: line.key, field: cell.dataset.field, before });
  was.set(cell, valueOf(cell));
  showState();
}

function go(line, field) {
  const cell = cellOf(line.key, field);
  cell?.focus();
  if (cell?.select && cell.type !== "checkbox") cell.select();
}

function move(cell, by) {
  const rows = ofKind(lineOf(cell).kind);
  const to = rows[rows.indexOf(lineOf(cell)) + by];
  if (to) go(to, cell.dataset.field);
}

function nextLine(cell) {
  const line = lineOf(cell);
  left(cell);
  const rows = ofKind(line.kind);
  let below = rows[rows.indexOf(line) + 1];
  if (!below && isLast(line)) { line.isSettled = true; return check(); } // the tape is full: stored where it stands
  if (!below) { if (isBlank(line)) return; below = addLine(line.kind, line); }
  const first = columnsOf(line.kind).find((column) => !column.carry || !below.cells[column.field]) ?? columnsOf(line.kind)[0];
  go(below, first.field);
}

grids.addEventListener("input", (event) => { if (event.target.dataset.field) typed(event.target); });
grids.addEventListener("focusin", (event) => {
  if (event.target.dataset.field) was.set(event.target, valueOf(event.target));
  const line = lineOf(event.target);
  if (line && at("paper")) follow(at("paper"), line, ofKind(line.kind).indexOf(line) + 1);
  showTold();
});
grids.addEventListener("focusout", (event) => {
  if (!event.target.dataset.field) return;
  left(event.target);
  setTimeout(() => { showTold(); if (sender.open) check(); }, 0);
});
grids.addEventListener("click", (event) => {
  const out = event.target.closest(".out");
  if (out) return takeOut(lineOf(out));
  const add = event.target.closest(".add");
  if (add) go(ofKind(add.dataset.kind).at(-1), columnsOf(add.dataset.kind).find((column) => !column.carry)?.field);
});
completeIn(grids, optionsOf, (cell) => typed(cell));
grids.addEventListener("keydown", (event) => {
  const cell = event.target;
  if (!cell.dataset.field) return;
  const control = event.ctrlKey || event.metaKey;
  if (event.key === "Enter" && !control) { event.preventDefault(); nextLine(cell); }
  else if (event.key === "ArrowDown" || event.key === "ArrowUp") { event.preventDefault(); move(cell, event.key === "ArrowDown" ? 1 : -1); }
  else if (control && event.key === "Delete") { event.preventDefault(); const line = lineOf(cell); if (!isBlank(line) || line.row_no !== null) takeOut(line); }
  else if (event.key === '"' && cell.value === "" && cell.type !== "checkbox") {
    const rows = ofKind(lineOf(cell).kind);
    const above = rows[rows.indexOf(lineOf(cell)) - 1]?.cells[cell.dataset.field];
    if (above === undefined) return;
    event.preventDefault();
    cell.value = labelOf(columnsOf(lineOf(cell).kind).find((column) => column.field === cell.dataset.field), above);
    typed(cell);
  }
});
document.addEventListener("keydown", (event) => {
  const cell = event.target;
  const isInCell = Boolean(cell.dataset?.field);
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.shiftKey) return;
  if (isInCell && was.get(cell) !== undefined && was.get(cell) !== valueOf(cell)) return; // the browser's own undo, within the cell
  if (!undone.length) return;
  event.preventDefault();
  undo();
});
at("undo").addEventListener("click", undo);
addEventListener("beforeunload", (event) => { if (sender.state === "lost" && sender.open) event.preventDefault(); });

for (const section of start.sections) {
  const { part, body } = sectionTable(section);
  bodies[section.kind] = body;
  grids.append(part);
}
lines = start.lines.map((line) => ({ ...line }));
overlay(sender.restore());
for (const line of lines) if (sender.isWaiting(line.key)) line.isNew = false;
draw();
if (sender.batch) sender.send();
check();
const first = start.sections[0];
const hash = location.hash.startsWith("#row-") ? lines.find((line) => line.row_no === Number(location.hash.slice(5))) : null;
go(hash ?? ofKind(first.kind).at(-1), (hash ? first.columns[0] : first.columns.find((column) => !column.carry) ?? first.columns[0]).field);
