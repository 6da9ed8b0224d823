// A grid of whole millimetres laid over the photo in the card's plane; the server says where its lines run.

import { number, say } from "../page.js";
import { svg } from "./viewer.js";

const APART_PX = 42; // how far apart lines are on the screen, at least
const WAIT_MS = 110;

/** Connect the grid to its button; resolves nothing, draws whenever the view comes to rest. */
export function connectGrid(view, button) {
  const layer = view.layer("grid");
  layer.setAttribute("class", "grid");
  let isShown = false, timer = null, asked = 0;

  async function fetchLines() {
    const mine = (asked += 1);
    const box = view.visible().map((v) => v.toFixed(1)).join(",");
    const { photo_id: id, correction_key: key } = view.photo;
    const answer = await fetch(`/photos/${id}/grid?box=${box}&least_px=${(APART_PX / view.scale).toFixed(3)}&key=${key ?? ""}`, { headers: { accept: "application/json" } });
    const told = await answer.json();
    if (mine !== asked || !isShown) return; // a later view has asked since
    if (!answer.ok) { say(told.problems); return; }
    layer.replaceChildren(...told.lines.map((line) => {
      const isTenth = Math.abs(line.mm / (told.step_mm * 10) - Math.round(line.mm / (told.step_mm * 10))) < 1e-6;
      return svg("path", { d: `M${line.points_px.map((p) => p.join(" ")).join("L")}`, class: isTenth ? "tenth" : "" });
    }));
    button.querySelector("output").textContent = told.step_mm ? `${number(told.step_mm, Number.isInteger(told.step_mm) ? 0 : 1)} mm` : "";
  }

  view.on("change", () => {
    if (!isShown) return;
    clearTimeout(timer);
    timer = setTimeout(() => fetchLines().catch((error) => say([{ message: error.message }])), WAIT_MS);
  });
  const turn = () => {
    if (button.disabled && !isShown) return;
    isShown = !isShown;
    button.setAttribute("aria-pressed", String(isShown));
    if (isShown) fetchLines(); else { layer.replaceChildren(); button.querySelector("output").textContent = ""; }
  };
  button.addEventListener("click", turn);
  return turn;
}
