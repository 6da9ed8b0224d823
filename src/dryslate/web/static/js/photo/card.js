// Work by hand on the photo's card: what is set is tried as it moves, saved at once, and can be taken back.

import { follow, post, say, words } from "../page.js";
import { opened, svg } from "./viewer.js";
import { steps } from "./undo.js";
import { isText } from "./measure.js";
import { corrected, loupe } from "./photo.js";
import { Points } from "./card_points.js";
import { defineTool } from "./card_define.js";
import { el } from "./reading.js";

const REST_MS = 350;
const at = (id) => document.getElementById(id);
const text = words("card-words");
const view = await opened;
const { photo } = view;
const points = new Points(view, loupe, at("stage"));

const address = (what) => `/photos/${photo.photo_id}/card/${what}`;
const version = () => photo.correction_key ?? "";

/** Show what the server says holds now. */
function shown(told) {
  at("card-state").innerHTML = told.html; // our own server's template, which escapes what people wrote
  corrected(told);
}

function failed(error) { say(error.told?.problems ?? [{ message: error.message }]); }

/** One try on its way at a time; only the newest waits. Resolves with nothing: `show` gets the answers. */
class Asking {
  #busy = false;
  #next = null;

  constructor(what, show) { this.what = what; this.show = show; }

  /** Ask; an earlier question that still waits is forgotten. */
  async ask(body) {
    if (this.#busy) { this.#next = body; return; }
    this.#busy = true;
    try {
      this.show(await post(address(this.what), body));
    } catch (error) {
      failed(error);
    } finally {
      this.#busy = false;
      const next = this.#next;
      this.#next = null;
      if (next) this.ask(next);
    }
  }

  /** Forget what still waits. */
  forget() { this.#next = null; }
}

/** Save by hand; where somebody else was quicker, both are shown and the person chooses. */
async function save(what, body, label, mine) {
  const before = version();
  at("hand-both").hidden = true;
  try {
    const told = await post(address(what), { ...body, version: before });
    points.finish();
    shown(told);
    say([]);
    const after = version();
    if (after === before) return;
    steps.push({ label, undo: () => hold(before), redo: () => hold(after) });
    at("hand-spoken").textContent = text.saved;
  } catch (error) {
    if (error.status !== 409 || !error.told?.html) { failed(error); return; }
    shown(error.told);
    const again = el("button", { type: "button" }, text.save_mine);
    const keep = el("button", { type: "button" }, text.keep_theirs);
    again.addEventListener("click", () => save(what, body, label, mine));
    keep.addEventListener("click", () => { at("hand-both").hidden = true; points.drop(); });
    const rows = [[text.theirs, error.told.kept ?? text.nothing], [text.mine, mine]];
    at("hand-both").replaceChildren(el("p", {}, el("b", {}, error.message)), el("dl", { class: "values both" }, ...rows.map(([name, value]) => el("div", {}, el("dt", {}, name), el("dd", {}, value)))), el("div", { class: "field-row" }, again, keep));
    at("hand-both").hidden = false;
    again.focus();
  }
}

/** Let an earlier correction hold again; an empty key has the program look for the card anew. */
async function hold(key) { shown(await post(address("hold"), { key, version: version() })); }

/** Draw outlines the server laid into the photo. */
function laid(outlines) {
  points.extra.replaceChildren(...outlines.flatMap((ring) => {
    const d = `M${ring.map((p) => p.join(" ")).join("L")}Z`;
    return [svg("path", { d, class: "under" }), svg("path", { d, class: "over" })];
  }));
}

/** Show the answer of a try: its figures in words, and a small picture of the result. */
function tried(place, told) {
  const wasOpen = place.querySelector("details")?.open ?? false;
  place.innerHTML = told.html;
  if (place.querySelector("details")) place.querySelector("details").open = wasOpen;
  if (told.small) place.prepend(el("img", { src: told.small, alt: text.small, class: "small" }));
}

// The corners

const cornerLay = new Asking("lay", (told) => {
  if (points.tool !== corners) return;
  laid(told.patches);
  at("corners-save").disabled = told.problems.length > 0;
  if (told.problems.length) at("corners-try").replaceChildren(...told.problems.map((p) => el("p", { class: "stop", "data-slug": p.slug }, el("b", {}, p.message), " ", p.fix)));
});
const cornerTry = new Asking("try", (told) => { if (points.tool === corners && !at("corners-save").disabled) tried(at("corners-try"), told); });
let resting = null;

const cornersBody = (set) => ({ card: at("corners-card").value, corners: set, point_u_px: points.doubt });

const corners = {
  name: "corners",
  most: 4,
  labels: (i) => text.corners[i],
  shapes: (set) => [{ points: set, closed: set.length === 4 }],
  texts: { begin: text.begin_corners, set: text.set_corner, move: text.move_corner, take: text.take_corner, drop: text.drop_corners },
  begun() { open("corners"); },
  ended() { closed("corners"); cornerLay.forget(); cornerTry.forget(); clearTimeout(resting); at("corners-try").replaceChildren(); },
  changed(set, isResting) {
    at("corners-hint").textContent = set.length < 4 ? text.place_corner.replace("{n}", set.length + 1).replace("{corner}", text.corners[set.length]) : text.corners_hint;
    clearTimeout(resting);
    if (set.length < 4) { at("corners-save").disabled = true; laid([]); at("corners-try").replaceChildren(); return; }
    cornerLay.ask(cornersBody(set));
    if (isResting) resting = setTimeout(() => { if (points.tool === corners) cornerTry.ask(cornersBody(points.points)); }, REST_MS);
  },
  submit() {
    if (at("corners-save").disabled) return;
    const body = cornersBody(points.points);
    save("corners", body, text.saved_corners, `${body.card}: ${points.points.map(([x, y]) => `${x.toFixed(0)}, ${y.toFixed(0)}`).join(" · ")}`);
  },
};

function beginCorners() {
  const card = photo.cards.find((c) => c.name === photo.card) ?? photo.cards[0];
  if (!card) { points.begin(corners); return; }
  at("corners-card").value = card.name;
  const xs = card.corners_px.map((p) => p[0]), ys = card.corners_px.map((p) => p[1]);
  view.show([Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)], 0.1);
  points.begin(corners, card.corners_px);
}

at("corners-card").addEventListener("change", () => { if (points.tool === corners) corners.changed(points.points, true); });

// One white or grey point

function pointTool(what) {
  const trying = new Asking("point/try", (told) => {
    if (points.tool !== tool) return;
    at(`${what}-save`).disabled = told.refused;
    tried(at(`${what}-try`), told);
  });
  let waiting = null;
  const tool = {
    name: what,
    most: 1,
    labels: () => text[what],
    short: () => "",
    shapes: () => [],
    texts: { begin: text.begin_point, set: text.set_point, move: text.move_point, take: text.take_point, drop: text.drop_point },
    begun() { open(what); },
    ended() { closed(what); trying.forget(); clearTimeout(waiting); at(`${what}-try`).replaceChildren(); },
    changed(set, isResting) {
      at(`${what}-hint`).textContent = set.length ? text.point_hint : text[`place_${what}`];
      clearTimeout(waiting);
      at(`${what}-save`).disabled = true;
      if (!set.length) at(`${what}-try`).replaceChildren();
      else if (isResting) waiting = setTimeout(() => { if (points.tool === tool) trying.ask({ what, xy: points.points[0] }); }, REST_MS / 2);
    },
    submit() {
      if (at(`${what}-save`).disabled) return;
      const [xy] = points.points;
      save("point", { what, xy }, text.saved_point, `${text[what]}: ${xy.map((v) => v.toFixed(0)).join(", ")}`);
    },
  };
  return tool;
}

/** List the photos that may have the point too; ticked ones are corrected as a job. */
async function listSharers() {
  const told = await (await fetch(address("sharers"), { headers: { accept: "application/json" } })).json();
  if (told.problems) { say(told.problems); return; }
  const place = at("share-list");
  place.innerHTML = told.html;
  const boxes = [...place.querySelectorAll("input[name=share]")];
  for (const button of place.querySelectorAll("[data-tick]")) button.addEventListener("click", () => { for (const box of boxes) box.checked = button.dataset.tick === "all"; });
  place.querySelector("#share-save")?.addEventListener("click", () => share(boxes.filter((box) => box.checked)));
  place.querySelector("input, summary")?.focus();
}

async function share(boxes) {
  if (!boxes.length) return;
  const ids = boxes.map((box) => box.value), versions = Object.fromEntries(boxes.map((box) => [box.value, box.dataset.version]));
  const run = async (what, body) => { follow(await post(address(what), body), () => { if (at("share-begin")) at("share-list").replaceChildren(); }); };
  try {
    await run("share", { ids });
    steps.push({ label: text.shared, undo: () => run("unshare", { versions }), redo: () => run("share", { ids }) });
  } catch (error) { failed(error); }
}

// What all tools share

const TOOLS = { corners: { tool: corners, begin: beginCorners } };
for (const what of ["white", "grey"]) {
  const tool = pointTool(what);
  TOOLS[what] = { tool, begin: () => points.begin(tool, photo.picked ? [photo.picked] : []) };
}

function open(name) {
  const tool = at(`${name}-tool`);
  tool.hidden = false;
  document.querySelector(`[data-tool="${name}"]`).setAttribute("aria-pressed", "true");
  tool.scrollIntoView({ block: "nearest" });
}

function closed(name) {
  at(`${name}-tool`).hidden = true;
  at("hand-both").hidden = true;
  document.querySelector(`[data-tool="${name}"]`).setAttribute("aria-pressed", "false");
}

function turn(name) {
  if (points.tool === TOOLS[name].tool) points.drop(); else TOOLS[name].begin();
}

const defining = defineTool(points, {
  address, text, failed, opened: () => open("define"), closed: () => closed("define"),
  defined: (name) => { at("corners-card").append(el("option", { value: name }, name)); },
  away: (name) => { at("corners-card").querySelector(`option[value="${CSS.escape(name)}"]`)?.remove(); },
});
TOOLS.define = { tool: defining, begin: () => { const card = photo.cards[0]; points.begin(defining, card && !photo.card ? card.corners_px : []); } };
for (const [name, { tool }] of Object.entries(TOOLS)) {
  document.querySelector(`[data-tool="${name}"]`).addEventListener("click", () => turn(name));
  at(`${name}-save`).addEventListener("click", () => tool.submit());
  at(`${name}-drop`).addEventListener("click", () => points.drop());
}
at("card-panel").addEventListener("focusin", () => { if (points.tool) loupe.hide(); });
for (const button of document.querySelectorAll("button[data-kind]")) button.addEventListener("click", () => points.drop());
document.addEventListener("keydown", (event) => {
  if (isText(event) || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey) return;
  const button = document.querySelector(`[data-tool][data-key="${CSS.escape(event.key)}"]`);
  if (!button) return;
  event.preventDefault();
  turn(button.dataset.tool);
});
window.addEventListener("beforeunload", (event) => { if (points.tool) event.preventDefault(); });

at("card-state").addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  button.disabled = true;
  const before = version();
  try {
    if (button.dataset.hold !== undefined) {
      await hold(button.dataset.hold);
      const after = version();
      if (after !== before) steps.push({ label: text.held, undo: () => hold(before), redo: () => hold(after) });
      say([]);
    } else if (button.id === "share-begin") await listSharers();
    else if (button.id === "take-again") await takeAgain();
  } catch (error) {
    if (error.status === 409 && error.told?.html) shown(error.told);
    failed(error);
  } finally { button.disabled = false; }
});

/** Take the values by the latest correction, as one step that can be undone. */
async function takeAgain() {
  const ids = [...document.querySelectorAll("#again [data-can]")].map((row) => row.dataset.id);
  const take = async () => { const told = await post(address("again"), { ids, version: version() }); shown(told); say(told.left, "warn"); return told.before; };
  let keys = await take();
  steps.push({
    label: text.took_again,
    undo: async () => shown(await post(address("before"), { keys })),
    redo: async () => { keys = await take(); },
  });
}

document.documentElement.dataset.card = "ready";
