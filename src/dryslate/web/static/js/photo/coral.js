// The record of a coral on the photo's page: its sizes here, and how much of it looks normal, pale, bleached or dead.

import { post, say } from "../page.js";
import { steps } from "./undo.js";
import { isText } from "./measure.js";
import { el } from "./reading.js";

const SHARES = ["normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct"];
const STEP = 5;

/** The panel of one coral at a time. */
export class Coral {
  #state = null;
  #label = null;
  #typed = new Map(); // by record: shares that were typed and are not saved yet
  #saved = null; // record whose shares were just saved

  constructor(view, parts) {
    this.view = view;
    this.parts = parts; // place, text, mayChange, changed(state)
    document.addEventListener("keydown", (event) => {
      if (event.key !== "h" || isText(event) || event.ctrlKey || event.altKey || event.metaKey) return;
      const first = parts.place.querySelector(".fractions input");
      if (first) { event.preventDefault(); first.select(); first.focus(); first.scrollIntoView({ block: "nearest" }); }
    });
  }

  /** Show what the server says of the corals; the chosen one stays. */
  show(state, label = null) {
    this.#state = state;
    const here = state.corals.filter((coral) => coral.is_here);
    if (label !== null) this.#label = label;
    if (!here.some((coral) => coral.colony === this.#label)) this.#label = here[0]?.colony ?? null;
    this.parts.place.hidden = here.length === 0;
    if (here.length) this.#draw(here);
  }

  #draw(here) {
    const { text, place } = this.parts;
    const coral = here.find((c) => c.colony === this.#label);
    const choice = el("select", { id: "coral-choice" }, ...here.map((c) => el("option", c.colony === this.#label ? { selected: "" } : {}, c.colony)));
    choice.addEventListener("change", () => { this.show(this.#state, choice.value); document.getElementById("coral-choice").focus(); });
    const sizes = this.#state.measurements.filter((m) => coral.measurement_ids.includes(m.measurement_id));
    const rows = sizes.flatMap((m) => m.words.values.map((v) => el("div", {}, el("dt", {}, v.label), el("dd", {}, v.text))));
    const elsewhere = coral.measurement_ids.length - sizes.length;
    const facts = [coral.growth_form ? text.form.replace("{form}", coral.growth_form_words) : text.no_form];
    if (!sizes.some((m) => m.kind === "outline")) facts.push(text.no_outline);
    if (elsewhere > 0) facts.push(text.elsewhere.replace("{n}", elsewhere));
    const focus = place.contains(document.activeElement) ? document.activeElement.id : "";
    place.replaceChildren(
      el("h2", { id: "coral-heading" }, text.coral),
      el("div", { class: "field-row" }, el("label", { for: "coral-choice" }, text.which), choice, ...(this.parts.mayChange ? [el("a", { href: `/corals/${coral.record_id}/name?from=photo`, class: "button", id: "name-it" }, `${text.name_it} `, el("kbd", {}, "a"))] : []), el("a", { href: `/corals/${coral.record_id}`, class: "button" }, text.to_coral)),
      el("p", { class: "soft" }, facts.join("; ")),
      ...(rows.length ? [el("dl", { class: "values" }, ...rows)] : []),
      ...(this.parts.mayChange ? [this.#health(coral)] : this.#shares(coral)),
    );
    if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
  }

  /** How its surface looks, for who may only look. */
  #shares(coral) {
    const { text } = this.parts;
    const told = SHARES.filter((name) => (coral.health?.[name] ?? null) !== null);
    if (!told.length) return [];
    return [el("h3", {}, text.health), el("dl", { class: "values" }, ...told.map((name) => el("div", {}, el("dt", {}, text[name]), el("dd", {}, `${coral.health[name]}`))))];
  }

  #health(coral) {
    const { text } = this.parts;
    const known = this.#typed.get(coral.record_id) ?? coral.health ?? {};
    const fields = SHARES.map((name) => el("input", { id: name, type: "number", min: "0", max: "100", step: String(STEP), inputmode: "numeric", value: known[name] ?? "" }));
    const sum = el("p", { class: "sum", role: "status" });
    const value = (field) => (field.value.trim() === "" ? null : Number(field.value));
    const shares = () => Object.fromEntries(SHARES.map((name, i) => [name, value(fields[i])]));
    const changed = () => { this.#saved = null; this.#typed.set(coral.record_id, shares()); tell(); };
    const tell = () => {
      const total = fields.reduce((all, field) => all + (value(field) ?? 0), 0);
      const isEmpty = fields.every((field) => value(field) === null);
      const words = isEmpty ? text.unknown : text.sum.replace("{sum}", total).replace("{rest}", 100 - total);
      sum.textContent = this.#saved === coral.record_id ? `${words} · ${text.saved}` : words;
    };
    const rows = fields.flatMap((field, i) => {
      field.addEventListener("input", changed);
      const less = el("button", { type: "button", tabindex: "-1", "aria-label": `${text[SHARES[i]]} −${STEP}` }, "−");
      const more = el("button", { type: "button", tabindex: "-1", "aria-label": `${text[SHARES[i]]} +${STEP}` }, "+");
      const by = (step) => () => { field.value = Math.min(100, Math.max(0, (value(field) ?? 0) + step)); changed(); };
      less.addEventListener("click", by(-STEP));
      more.addEventListener("click", by(STEP));
      return [el("label", { for: SHARES[i] }, text[SHARES[i]]), el("span", { class: "steps" }, less, field, more)];
    });
    const rest = el("button", { type: "button" }, text.rest);
    rest.addEventListener("click", () => {
      const others = fields.slice(1).reduce((all, field) => all + (value(field) ?? 0), 0);
      fields.forEach((field, i) => { if (i && value(field) === null) field.value = 0; });
      fields[0].value = Math.max(0, 100 - others);
      changed();
    });
    const empty = el("button", { type: "button" }, text.empty);
    empty.addEventListener("click", () => { for (const field of fields) field.value = ""; changed(); });
    const form = el("form", { novalidate: "" }, el("h3", {}, text.health), el("div", { class: "fractions" }, ...rows, sum), el("div", { class: "field-row" }, rest, empty, el("button", { class: "main", id: "save-health" }, text.save_health)));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#save(coral, shares());
    });
    tell();
    return form;
  }

  async #save(coral, shares) {
    const before = Object.fromEntries(SHARES.map((name) => [name, coral.health?.[name] ?? null]));
    try {
      await this.#post(coral, shares);
      document.getElementById("name-it")?.focus({ preventScroll: true }); // the next step; Ctrl+Z and the page's keys work from there
      steps.push({ label: this.parts.text.save_health, undo: () => this.#post(coral, before), redo: () => this.#post(coral, shares) });
    } catch (error) {
      say(error.told?.problems ?? [{ message: error.message }]);
    }
  }

  async #post(coral, shares) {
    const answer = await post(`/photos/${this.view.photo.photo_id}/health`, { record_id: coral.record_id, ...shares });
    this.#typed.delete(coral.record_id);
    this.#saved = coral.record_id;
    this.parts.changed(answer.state, coral.colony);
  }
}
