// The list of photos: the originals while a key or the button is held, arrows from photo to photo.
import { isTyping } from "./page.js";

const list = document.getElementById("photos");
const button = document.getElementById("hold");
let held = false;

/** Show every original, or what each was corrected to; photos that scroll in later follow. */
function show(originals) {
  if (held === originals || !list) return;
  held = originals;
  button?.setAttribute("aria-pressed", String(originals));
  for (const img of list.querySelectorAll("img[data-original]")) {
    img.dataset.corrected ??= img.getAttribute("src");
    img.src = originals ? img.dataset.original : img.dataset.corrected;
  }
}

/** Say of a photo whose file is damaged or missing that it cannot be shown; which it is stands on its page. */
function tellBroken(img) {
  const told = document.createElement("span");
  told.className = "blank";
  told.textContent = list.dataset.broken;
  img.closest("li").dataset.broken = "";
  img.replaceWith(told);
}

if (list) {
  list.addEventListener("error", ({ target }) => { if (target.tagName === "IMG") tellBroken(target); }, true);
  for (const img of list.querySelectorAll("a img")) if (img.complete && !img.naturalWidth) tellBroken(img);
}

/** Return how many photos stand in a row. */
function columns() {
  return getComputedStyle(list).gridTemplateColumns.split(" ").length;
}

/** Move the focus by so many photos. */
function go(step) {
  const links = [...list.querySelectorAll("li > a:first-child")];
  const at = links.indexOf(document.activeElement?.closest?.("li > a:first-child"));
  const to = at < 0 ? 0 : Math.min(links.length - 1, Math.max(0, at + step));
  links[to]?.focus();
}

if (button) {
  button.setAttribute("aria-pressed", "false");
  button.addEventListener("pointerdown", (event) => { button.setPointerCapture(event.pointerId); show(true); });
  for (const kind of ["pointerup", "pointercancel", "blur"]) button.addEventListener(kind, () => show(false));
  button.addEventListener("keydown", (event) => { if (event.key === " " || event.key === "Enter") { event.preventDefault(); show(true); } });
  button.addEventListener("keyup", (event) => { if (event.key === " " || event.key === "Enter") show(false); });
}
window.addEventListener("blur", () => show(false));
document.addEventListener("keyup", (event) => { if (event.key === "o") show(false); });
document.addEventListener("keydown", (event) => {
  if (isTyping(event) || !list) return;
  if (event.key === "o") return show(true);
  const steps = { ArrowLeft: () => -1, ArrowRight: () => 1, ArrowUp: () => -columns(), ArrowDown: () => columns() };
  const inList = list.contains(document.activeElement);
  if (event.key in steps && (inList || event.key === "ArrowLeft" || event.key === "ArrowRight")) {
    event.preventDefault();
    go(steps[event.key]());
  }
});
