// Puts the photo page together: the view, its slider and keys, the card's outline, and the work beside it.

import { isTyping, words } from "../page.js";
import { arrow, open, svg } from "./viewer.js";
import { connectButtons } from "./undo.js";

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

/** Draw the cards that were found. */
export function drawCards(view, cards) {
  view.layer("cards").replaceChildren(...cards.map((card) => outline(card.corners_px, true, "card")));
}

function connectSlider(view) {
  const slider = at("share");
  const show = () => {
    view.share = Number(slider.value);
    at("share-words").textContent = photo.keys.corrected ? `${slider.value} %` : text.not_corrected;
  };
  slider.addEventListener("input", show);
  show();
  return () => { slider.value = Number(slider.value) > 50 ? 0 : 100; show(); };
}

function connectKeys(view, turn) {
  const pan = 0.2;
  document.addEventListener("keydown", (event) => {
    const inView = event.target === at("stage") || event.target.closest?.("#stage") || event.target === document.body || event.target === at("main");
    if (event.defaultPrevented || isTyping(event)) return;
    const does = {
      "+": () => view.zoomBy(1.5), "=": () => view.zoomBy(1.5), "-": () => view.zoomBy(1 / 1.5), "−": () => view.zoomBy(1 / 1.5),
      0: () => view.whole(), x: turn, w: () => at("crop")?.click(),
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

const view = await open(at("stage"), photo);
drawCards(view, photo.cards);
connectKeys(view, connectSlider(view));
connectButtons(at("undo"), at("redo"));
document.documentElement.dataset.photo = "open";
