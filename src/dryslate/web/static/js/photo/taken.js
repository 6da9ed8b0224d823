// Measurements that are saved: drawn on the photo, gone through, renamed, followed by better ones, taken back.

import { post, say } from "../page.js";
import { svg } from "./viewer.js";
import { steps } from "./undo.js";
import { distance, isText, pathOf } from "./measure.js";
import { el, showReading } from "./reading.js";

/** The list of saved measurements and their drawing. */
export class Taken {
  #rows = [];
  #chosen = null;

  constructor(view, parts) {
    this.view = view;
    this.parts = parts; // place, text, mayChange, follow(row), changed(state), chosen(row)
    this.layer = view.layer("old");
    document.addEventListener("keydown", (event) => {
      if (isText(event) || event.ctrlKey || event.altKey || event.metaKey || (event.key !== "," && event.key !== ".")) return;
      event.preventDefault();
      this.next(event.key === "." ? 1 : -1);
    });
  }

  /** Show what the server says stands. */
  show(state) {
    this.#rows = state.measurements;
    if (!this.#rows.some((row) => row.measurement_id === this.#chosen)) this.#chosen = null;
    this.layer.replaceChildren(...this.#rows.map((row) => this.#drawn(row)), ...this.#labels());
    this.#list(state);
  }

  /** Choose the measurement after (1) or before (-1) the chosen one. */
  next(way) {
    if (!this.#rows.length) return;
    const at = this.#rows.findIndex((row) => row.measurement_id === this.#chosen);
    const n = this.#rows.length;
    this.choose(this.#rows[at < 0 ? (way > 0 ? 0 : n - 1) : (at + way + n) % n].measurement_id);
  }

  /** Choose one measurement, or none. */
  choose(id) {
    this.#chosen = id;
    this.layer.querySelectorAll("[data-id]").forEach((g) => g.classList.toggle("chosen", g.dataset.id === id));
    for (const item of this.parts.place.querySelectorAll("li[data-id]")) {
      const isIt = item.dataset.id === id;
      item.querySelector("button.line").setAttribute("aria-expanded", String(isIt));
      item.querySelector(".more").hidden = !isIt;
      if (isIt) item.scrollIntoView({ block: "nearest" });
    }
    const row = this.#rows.find((r) => r.measurement_id === id);
    if (row) {
      const xs = row.points_px.map((p) => p[0]), ys = row.points_px.map((p) => p[1]);
      this.view.show([Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)], 0.5);
      this.parts.chosen(row);
    }
  }

  /** Choose what lies nearest to a clicked point, where anything does. */
  pick(xy) {
    const reach = 14 / this.view.scale;
    let best = null, gap = reach;
    for (const row of this.#rows) {
      const closed = row.kind === "outline" || row.kind === "colour";
      row.points_px.forEach((a, i) => {
        const b = row.points_px[i + 1] ?? (closed ? row.points_px[0] : null);
        if (!b || (row.kind === "corallites" && i % 2)) return;
        const away = distance(xy, a, b);
        if (away < gap) { gap = away; best = row; }
      });
    }
    if (best) this.choose(best.measurement_id);
  }

  #drawn(row) {
    const d = pathOf(row.kind, row.points_px);
    const group = svg("g", { class: `old${row.measurement_id === this.#chosen ? " chosen" : ""}`, "data-id": row.measurement_id });
    group.append(svg("path", { d, class: "under" }), svg("path", { d, class: "over" }));
    return group;
  }

  #labels() {
    const seen = new Set();
    const ordered = [...this.#rows].sort((a, b) => Number(b.kind === "outline") - Number(a.kind === "outline"));
    return ordered.filter((row) => !seen.has(row.colony) && seen.add(row.colony)).map((row) => {
      const top = row.points_px.reduce((a, b) => (b[1] < a[1] ? b : a));
      const label = svg("text", { x: top[0], y: top[1], class: "label" });
      label.textContent = row.colony;
      return label;
    });
  }

  #list(state) {
    const { text, place } = this.parts;
    const rows = this.#rows.map((row) => this.#item(row));
    const list = rows.length ? [el("h3", {}, text.measured_here), el("ul", { class: "taken" }, ...rows)] : [];
    const old = state.taken_back.map((row) => {
      const button = el("button", { type: "button" }, text.again);
      button.addEventListener("click", () => this.#do(row.measurement_id, "again", {}, text.again, () => this.#call(row.measurement_id, "back", {})));
      return el("li", {}, `${row.colony}, ${text[row.kind]}: ${row.short} `, ...(this.parts.mayChange ? [button] : []));
    });
    if (old.length) list.push(el("details", {}, el("summary", {}, `${text.no_longer} (${old.length})`), el("ul", { class: "rows" }, ...old)));
    place.replaceChildren(...list);
  }

  #item(row) {
    const { text } = this.parts;
    const id = row.measurement_id, isIt = id === this.#chosen;
    const line = el("button", { type: "button", class: "line", "aria-expanded": String(isIt) }, el("span", {}, `${row.colony}, ${text[row.kind]}`, row.rests_on_earlier ? el("small", { class: "soft" }, ` · ${text.earlier}`) : null), el("span", { class: "n" }, row.short));
    line.addEventListener("click", () => this.choose(this.#chosen === id ? null : id));
    const words = el("div", { class: "reading" });
    showReading(words, row.words, text);
    const better = el("button", { type: "button" }, text.better);
    better.addEventListener("click", () => this.parts.follow(row));
    const back = el("button", { type: "button", class: "stop-button" }, text.take_back);
    back.addEventListener("click", () => this.#do(id, "back", {}, text.take_back, () => this.#call(id, "again", {})));
    const fieldId = `other-${id.slice(0, 10)}`;
    const field = el("input", { id: fieldId, list: "corals", maxlength: "200", required: "", autocomplete: "off" });
    const form = el("form", { class: "field-row" }, el("label", { for: fieldId }, text.other_coral), field, el("button", {}, text.move_there));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#do(id, "rename", { colony: field.value.trim() }, text.move_there, () => this.#call(id, "again", {}));
    });
    const more = el("div", { class: "more" }, words, el("p", { class: "soft" }, text.by.replace("{name}", row.observer)), ...(this.parts.mayChange ? [el("div", { class: "field-row" }, better, back), form] : []));
    more.hidden = !isIt;
    return el("li", { "data-id": id }, line, more);
  }

  async #call(id, what, body) {
    const answer = await post(`/photos/${this.view.photo.photo_id}/measurements/${id}/${what}`, body);
    this.parts.changed(answer.state);
    return answer;
  }

  async #do(id, what, body, label, undo) {
    try {
      const answer = await this.#call(id, what, body);
      if (what === "rename" && answer.saved === id) return;
      steps.push({ label, undo, redo: () => this.#call(id, what, body) });
    } catch (error) {
      if (error.status === 409) await this.parts.refresh(); // somebody else was quicker: show what stands now
      say(error.told?.problems ?? [{ message: error.message }]);
    }
  }

  /** Note that something was saved, as one step. */
  saved(answer, { follows }) {
    const id = answer.saved, text = this.parts.text;
    this.#chosen = null;
    this.parts.changed(answer.state);
    steps.push({
      label: text.save,
      undo: () => (follows ? this.#call(follows, "again", {}) : this.#call(id, "back", {})),
      redo: () => this.#call(id, "again", {}),
    });
  }
}
