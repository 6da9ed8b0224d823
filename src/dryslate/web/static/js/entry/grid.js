// The grids of a unit: a line of cells for each row, faults below the line they belong to.

import { words } from "../page.js";

const text = words("words");

function element(tag, more = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(more)) if (value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  made.append(...inside);
  return made;
}

/** The row of the table that shows a line. */
export const rowOf = (key) => document.getElementById(`line-${key}`);
export const cellOf = (key, field) => rowOf(key)?.querySelector(`[data-field="${field}"]`);

function cell(line, column, labelOf) {
  if (column.type === "tick") {
    const tick = element("input", { type: "checkbox", "data-field": column.field, "aria-label": column.label });
    tick.checked = Boolean(line.cells[column.field]);
    return tick;
  }
  const more = { "data-field": column.field, "aria-label": column.label, maxlength: column.type === "words" ? 500 : 20, autocomplete: "off", spellcheck: "false" };
  if (column.type !== "words") Object.assign(more, { inputmode: "decimal", class: "figure" });
  if (column.list) Object.assign(more, { role: "combobox", "aria-autocomplete": "list", "aria-expanded": "false", "aria-controls": "options", "data-list": column.list });
  const input = element("input", more);
  input.value = labelOf(column, line.cells[column.field] ?? "");
  return input;
}

/** The row of a line; `number` is its place in its grid. */
export function lineRow(line, section, number, labelOf) {
  const row = element("tr", { id: `line-${line.key}`, "data-key": line.key });
  const head = element("th", { scope: "row" }, String(number));
  if (line.place) head.title = [line.place, line.by && text.by.replace("{who}", line.by)].filter(Boolean).join(" · ");
  row.append(head);
  for (const column of section.columns) row.append(element("td", { "data-label": column.label }, cell(line, column, labelOf)));
  if (hasShares(section)) row.append(element("td", { class: "n share", "data-label": text.sum }));
  const out = element("button", { type: "button", class: "plain out", tabindex: "-1", "aria-label": text.out.replace("{n}", number) }, "×");
  row.append(element("td", {}, out));
  return row;
}

export const hasShares = (section) => section.columns.some((column) => column.field === "old_dead_pct");

/** The table of a section, empty. */
export function sectionTable(section) {
  const heads = [element("th", { scope: "col" }, element("span", { class: "unseen" }, text.number))];
  for (const column of section.columns) heads.push(element("th", { scope: "col", class: `of-${column.field}` }, column.label));
  if (hasShares(section)) heads.push(element("th", { scope: "col" }, text.sum));
  heads.push(element("td"));
  const body = element("tbody");
  const add = element("button", { type: "button", class: "add", "data-kind": section.kind }, text.add);
  const scroll = element("div", { class: "scroll" }, element("table", {}, element("thead", {}, element("tr", {}, ...heads)), body));
  const part = element("section", { class: "grid", "data-kind": section.kind, "aria-label": section.title }, element("h2", {}, section.title), scroll, element("p", {}, add));
  return { part, body };
}

/** Show the faults of a line at its cells, with their words below it. */
export function showFaults(key, faults) {
  const row = rowOf(key);
  if (!row) return;
  const now = faults.map((fault) => `${fault.field} ${fault.message}`).join("\n");
  if (row.dataset.faults === now) return;
  row.dataset.faults = now;
  const wrong = new Map(faults.map((fault) => [fault.field, fault]));
  for (const input of row.querySelectorAll("[data-field]")) {
    const fault = wrong.get(input.dataset.field);
    input.toggleAttribute("data-asked", fault?.severity === "warning");
    if (fault && fault.severity === "error") input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    if (fault) input.setAttribute("aria-describedby", `faults-${key}`); else input.removeAttribute("aria-describedby");
  }
  document.getElementById(`faults-${key}`)?.closest("tr").remove();
  if (!faults.length) return;
  const told = element("td", { id: `faults-${key}`, colspan: row.children.length - 1 });
  for (const fault of faults) {
    const label = row.querySelector(`[data-field="${fault.field}"]`)?.getAttribute("aria-label");
    const strong = element("b", fault.lang ? { lang: fault.lang } : {}, `${label ? `${label}${fault.colon}` : ""}${fault.message}`);
    told.append(element("p", { class: fault.severity === "error" ? "stop" : "warn", "data-slug": fault.slug }, strong, ` ${fault.fix}`));
  }
  row.after(element("tr", { class: "told" }, element("td"), told));
}

/** Number the lines of a grid anew. */
export function number(body) {
  [...body.querySelectorAll("tr[data-key]")].forEach((row, n) => {
    row.firstElementChild.textContent = n + 1;
    row.querySelector(".out").setAttribute("aria-label", text.out.replace("{n}", n + 1));
  });
}

/** Lines side by side, as they are stored now and as they are here: for two people on one unit. */
export function sideBySide(pairs, columnsOf, labelOf) {
  const words = (line, kind) => (line ? columnsOf(kind).map((c) => [c, labelOf(c, line.cells[c.field] ?? "")]).filter(([, t]) => t).map(([c, t]) => `${c.label} ${t}`).join(" · ") : text.goneNow);
  const rows = pairs.map(({ theirs, mine, kind }) => element("tr", {}, element("td", {}, words(theirs, kind)), element("td", {}, words(mine, kind))));
  const head = element("tr", {}, element("th", { scope: "col" }, text.theirs), element("th", { scope: "col" }, text.mine));
  return element("table", {}, element("thead", {}, head), element("tbody", {}, ...rows));
}
