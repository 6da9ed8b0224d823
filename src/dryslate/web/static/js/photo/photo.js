// Puts the photo page together: the view, its slider and keys, the card's outline, and the work beside it.

import { say, words } from "../page.js";
import { arrow, open, svg } from "./viewer.js";
import { connectButtons } from "./undo.js";
import { Loupe } from "./loupe.js";
import { connectGrid } from "./lines.js";
import { Measuring, isText } from "./measure.js";
import { Taken } from "./taken.js";
import { Coral } from "./coral.js";

const text = words("words");
const photo = { ...words("photo"), words: text };
const at = (id) => document.getElementById(id);

/** Draw a line twice, dark under light, so that it is seen on any ground. */
export function outline(points, closed, className) {
  const d = `M${points.map((p) => p.join(" ")).join("L")}${closed ? "Z" : ""}`;
  const group = svg("g", { class: className });
  group.append(svg("path", { d, class: "under" }), svg("path", { d, class: "over" }));
  return group;
}

/** Draw the cards that were found, and the point that colours rest on. */
export function drawCards(view, cards) {
  const marks = view.photo.picked ? [svg("circle", { class: "picked-under", cx: view.photo.picked[0], cy: view.photo.picked[1] }), svg("circle", { class: "picked", cx: view.photo.picked[0], cy: view.photo.picked[1] })] : [];
  view.layer("cards").replaceChildren(...cards.map((card) => outline(card.corners_px, true, "card")), ...marks);
}

function connectSlider(view) {
  const slider = at("share");
  const show = () => {
    view.share = Number(slider.value);
    at("compare").classList.toggle("alone", !photo.keys.corrected); // nothing to compare with: only that is said
    at("share-words").textContent = photo.keys.corrected ? `${slider.value} %` : text.not_corrected;
  };
  slider.addEventListener("input", show);
  show();
  return { show, turn: () => { slider.value = Number(slider.value) > 50 ? 0 : 100; show(); } };
}

function connectKeys(view, turn, turnGrid) {
  const pan = 0.2;
  document.addEventListener("keydown", (event) => {
    const inView = event.target === at("stage") || event.target.closest?.("#stage") || event.target === document.body || event.target === at("main");
    if (event.defaultPrevented || isText(event) || event.ctrlKey || event.altKey || event.metaKey) return;
    const does = {
      "+": () => view.zoomBy(1.5), "=": () => view.zoomBy(1.5), "-": () => view.zoomBy(1 / 1.5), "−": () => view.zoomBy(1 / 1.5),
      0: () => view.whole(), x: turn, m: turnGrid, w: () => at("crop")?.click(),
      a: () => document.getElementById("name-it")?.click(),
      "[": () => at("photo-before")?.click(), "]": () => at("photo-after")?.click(),
    }[event.key];
    const way = inView ? arrow(event) : null;
    if (does) does(); else if (way) view.panBy(Math.sign(way[0]) * pan, Math.sign(way[1]) * pan); else return;
    event.preventDefault();
  });
  at("zoom-in").addEventListener("click", () => view.zoomBy(1.5));
  at("zoom-out").addEventListener("click", () => view.zoomBy(1 / 1.5));
  at("zoom-whole").addEventListener("click", () => view.whole());
}

/** Let the address of the part to take away follow the view. */
function connectCrop(view) {
  const link = at("crop");
  view.on("change", () => {
    const box = view.visible().map((v) => Math.round(v + 0.5));
    const variant = view.photo.keys.corrected && view.share > 0 ? "corrected" : "original";
    link.href = `/photos/${photo.photo_id}/crop.png?variant=${variant}&box=${box.join(",")}${photo.has_bar ? "" : "&bar=no"}`;
  });
}

const view = await open(at("stage"), photo);
view.layer("grid");
drawCards(view, photo.cards);
const share = connectSlider(view);
connectButtons(at("undo"), at("redo"));
connectCrop(view);

export const loupe = new Loupe(at("loupe"), view);
let lastCoral = "";
const taken = new Taken(view, {
  place: at("measured"), text, mayChange: photo.may_change,
  follow: (row) => measuring.follow(row),
  chosen: (row) => { coral.show(now, row.colony); },
  changed: (state, label) => show(state, label),
  refresh: async () => show(await (await fetch(`/photos/${photo.photo_id}/state`, { headers: { accept: "application/json" } })).json()),
});
const measuring = new Measuring(view, {
  loupe, text, stage: at("stage"), reading: at("reading"), hint: at("hint"), spoken: at("spoken"), form: at("save-form"), drop: at("drop"),
  bar: { place: at("draw-bar"), finish: at("finish"), drop: at("drop-now") }, outlined: at("outlined"),
  hasOutline: (colony) => now.measurements.some((row) => row.kind === "outline" && row.colony === colony),
  label: at("coral-label"), kinds: document.querySelectorAll("button[data-kind]"), stood: document.querySelectorAll("input[name=stood]"),
  saved: (answer, how) => { lastCoral = how.colony; taken.saved(answer, how); coral.show(now, how.colony); at("hint").textContent = text.saved; at("stage").focus({ preventScroll: true }); },
  picked: (xy) => taken.pick(xy),
  correctedAnew: () => say([{ message: text.corrected_anew }], "warn"),
});
const turnGrid = connectGrid(view, at("grid-button"));
connectKeys(view, share.turn, turnGrid); // after measuring, whose arrows go first
for (const button of document.querySelectorAll("button[data-kind]")) button.addEventListener("click", () => measuring.start(button.dataset.kind));
window.addEventListener("beforeunload", (event) => { if (measuring.draft?.points.length) event.preventDefault(); });
const coral = new Coral(view, { place: at("coral-panel"), text, mayChange: photo.may_change, changed: (state, label) => show(state, label) });
let hasShown = false;
let now = { measurements: [], taken_back: [], corals: [], controls: [] };

/** Show what the server says is measured and noted here. */
function show(state, label = null) {
  if (hasShown) say([]); // what went wrong before is done with; not what was said as the page opened
  hasShown = true;
  now = state;
  taken.show(state);
  coral.show(state, label);
  const names = [...new Set([...state.corals.map((c) => c.colony), ...state.controls])];
  at("corals").replaceChildren(...names.map((name) => Object.assign(document.createElement("option"), { value: name })));
  if (!at("coral-label").value) at("coral-label").value = lastCoral;
}

/** Show what holds after the photo was corrected anew, as the server tells it. */
export function corrected(told) {
  const { view: now } = told, hadPicture = photo.keys.corrected;
  Object.assign(photo, { correction_key: now.correction_key, has_plane: now.has_plane, has_bar: now.has_bar, cards: now.cards, card: now.card, picked: now.picked });
  if (now.keys.corrected !== hadPicture) view.setCorrected(now.keys.corrected);
  at("share").disabled = now.keys.corrected === null;
  if (!hadPicture && now.keys.corrected) at("share").value = 100;
  share.show();
  drawCards(view, photo.cards);
  at("scale-words").textContent = told.scale_words ? ` · ${told.scale_words}` : "";
  at("not-corrected").hidden = now.correction_key !== null;
  if (at("refused")) at("refused").hidden = true; // the card says what holds now
  at("no-plane").hidden = now.correction_key === null || now.has_plane;
  for (const button of document.querySelectorAll("button[data-kind]")) button.disabled = button.dataset.kind !== "colour" && !now.has_plane;
  const grid = at("grid-button"), wasShown = grid.getAttribute("aria-pressed") === "true";
  if (wasShown) turnGrid();
  grid.disabled = !now.has_plane;
  if (wasShown) turnGrid();
  show(told.state);
  measuring.readAgain();
}

show(words("state"));
performance.mark("photo-ready");
document.documentElement.dataset.photo = "open";
