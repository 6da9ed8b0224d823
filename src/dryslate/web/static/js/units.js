// Units on the list of photos: choosing photos, one key each for what is done with them, undo.
import { isTyping, say } from "./page.js";

const form = document.getElementById("work");
const list = document.getElementById("photos");
const chosen = document.getElementById("chosen");
const every = document.getElementById("every");
let last = null;

/** The boxes of the photos that are listed. */
const boxes = () => [...list.querySelectorAll("input[name=photo]")];

/** The photo that has the focus. */
const focused = () => document.activeElement?.closest?.("#photos > li[id]");

/** Say how many photos are chosen. */
function count() {
  const n = boxes().filter((box) => box.checked).length;
  const { none, one, many } = chosen.dataset;
  chosen.textContent = n === 0 ? none : n === 1 ? one : many.replace("{n}", n);
  for (const box of boxes()) box.closest("li").classList.toggle("picked", box.checked);
}

/** Choose a photo or not; with `range` all from the last one to it. */
function pick(box, is, range) {
  const all = boxes();
  const from = range && last ? all.indexOf(last) : -1;
  const to = all.indexOf(box);
  const some = from < 0 ? [box] : all.slice(Math.min(from, to), Math.max(from, to) + 1);
  for (const one of some) one.checked = is;
  last = box;
  count();
}

/** Without a choice, what is done is done with the photo that has the focus. */
function useFocused() {
  const box = focused()?.querySelector("input[name=photo]");
  if (box && !every.checked && !boxes().some((one) => one.checked)) pick(box, true, false);
}

/** Put the parts of the page that changed in the place of the old ones; the focus stays. */
function swap(html) {
  const part = document.createElement("template");
  part.innerHTML = html;
  if (part.content.querySelector("[data-reload]")) return location.reload();
  const at = focused()?.id;
  const scrolls = [...document.querySelectorAll("#strip .scroll")].map((one) => one.scrollLeft);
  for (const id of ["done", "strip"]) {
    const fresh = part.content.getElementById(id);
    if (fresh) document.getElementById(id)?.replaceWith(fresh);
  }
  document.querySelectorAll("#strip .scroll").forEach((one, n) => { one.scrollLeft = scrolls[n] ?? 0; });
  for (const fresh of part.content.querySelectorAll("ul > li[id]")) document.getElementById(fresh.id)?.replaceWith(fresh);
  const options = part.content.querySelector("#to-unit-options select");
  const select = document.getElementById("to-unit");
  if (options && select) {
    const was = select.value;
    select.replaceChildren(...options.options);
    select.value = was;
    if (select.selectedIndex < 0) select.selectedIndex = 0;
    document.getElementById("to-unit-line").hidden = !select.options.length;
  }
  if (at) document.querySelector(`#${at} > a`)?.focus({ preventScroll: true });
}

/** Send a form and show what changed. */
async function send(from, button) {
  const data = new URLSearchParams(new FormData(from, button));
  const answer = await fetch(from.action, { method: "POST", body: data, headers: { "hx-request": "true" } }).catch(() => null);
  const html = answer ? await answer.text() : "";
  const said = document.getElementById("bar-said") ?? document.getElementById("said");
  said.replaceChildren();
  if (!answer) return say([{ message: form.dataset.lost }]);
  if (!answer.ok) { // what was typed stays; an open tool would lie over what is said
    said.innerHTML = html;
    for (const tool of form?.querySelectorAll("details") ?? []) tool.open = false;
    return;
  }
  if (from === form) {
    for (const box of boxes()) box.checked = false;
    every.checked = false;
    for (const tool of form.querySelectorAll("details")) tool.open = false;
    for (const name of ["name", "note"]) form.elements[name].value = "";
  }
  swap(html);
  count();
}

/** Open one of the bar's tools and go to its first field. */
function open(id) {
  useFocused();
  const tool = document.getElementById(id);
  tool.open = true;
  tool.querySelector("p:not([hidden]) > :is(select, input)")?.focus();
}

document.addEventListener("submit", (event) => {
  if (!event.target.matches("form[data-work]")) return;
  if (event.target === form) useFocused();
  if (event.submitter?.matches("[data-leads]")) return; // to a page of its own
  event.preventDefault();
  send(event.target, event.submitter);
});
document.addEventListener("change", (event) => { if (event.target.matches?.("input[name=photo]")) count(); });
list?.addEventListener("click", (event) => {
  const box = event.target.closest?.("input[name=photo]");
  if (box) pick(box, box.checked, event.shiftKey);
});
for (const tool of form?.querySelectorAll("details") ?? []) {
  tool.addEventListener("toggle", () => { if (tool.open) for (const other of form.querySelectorAll("details")) if (other !== tool) other.open = false; });
}
document.addEventListener("keydown", (event) => {
  const control = event.ctrlKey || event.metaKey;
  const isText = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName) && event.target.type !== "checkbox";
  if (control && !isText && event.key.toLowerCase() === "z") {
    const button = document.querySelector(event.shiftKey ? "[data-redo]" : "[data-undo]");
    if (button) { event.preventDefault(); button.click(); }
    return;
  }
  if (event.key === "Escape" && form) {
    const tool = form.querySelector("details[open]");
    if (tool) { tool.open = false; tool.querySelector("summary").focus(); } else { for (const box of boxes()) box.checked = false; every.checked = false; count(); }
    return;
  }
  if (event.key === "Enter" && form?.contains(event.target) && event.target.tagName === "INPUT" && isText) {
    event.preventDefault();  // the button of that line, or else of its sheet; never the form's first
    (event.target.closest("p").querySelector("button") ?? event.target.closest(".sheet").querySelector("button")).click();
    return;
  }
  if (event.defaultPrevented || control || event.altKey || isText || !form || (isTyping(event) && event.target.name !== "photo")) return;
  const at = focused();
  const box = at?.querySelector("input[name=photo]");
  if (event.key === " " && box && event.target !== box) { event.preventDefault(); pick(box, event.shiftKey || !box.checked, event.shiftKey); }
  else if (event.key === "s") { useFocused(); form.querySelector("button[value=slate]").click(); }
  else if (event.key === "u") { event.preventDefault(); open("tool-unit"); }
  else if (event.key === "b") { event.preventDefault(); open("tool-aside"); }
  else if (event.key === "n" && at?.dataset.unit) location.href = `/units/${at.dataset.unit}`;
});
document.body.addEventListener("htmx:afterSwap", count);
document.querySelector("#strip [data-chosen]")?.scrollIntoView({ block: "nearest", inline: "center" });
if (form) count();
