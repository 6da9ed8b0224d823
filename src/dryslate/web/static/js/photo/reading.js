// A reading as it is shown: each value with its doubt and interval, what the doubt is made of, what to know.

/** Make an element with text and children. */
export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) if (value !== null && value !== undefined) made.setAttribute(key, value);
  made.append(...children.filter((c) => c !== null && c !== undefined));
  return made;
}

/** Show a reading (`told` as the server words it) in `place`. */
export function showReading(place, told, text, isDone = true) {
  const [first, ...others] = told.values;
  const parts = [];
  if (first) {
    const swatch = told.hex ? el("span", { class: "swatch", style: `background:${told.hex}` }) : null;
    parts.push(el("p", { class: "value" }, swatch, ` ${first.text} `, el("small", {}, first.label)), el("p", { class: "interval" }, first.interval));
  }
  if (others.length) {
    parts.push(el("dl", { class: "values" }, ...others.map((v) => el("div", {}, el("dt", {}, v.label), el("dd", {}, v.text, v.interval ? el("small", {}, v.interval) : null)))));
  }
  for (const problem of told.problems) {
    const kind = isDone ? { error: "stop", warning: "warn" }[problem.severity] ?? "hint" : "hint"; // while it is drawn, an outline may still cross itself
    parts.push(el("p", { class: kind, "data-slug": problem.slug, lang: problem.lang || null }, el("b", {}, problem.message), " ", problem.fix ?? ""));
  }
  if (told.flags.length) parts.push(el("p", { class: "hint" }, told.flags.join("; ")));
  if (told.budget.length) {
    const rows = told.budget.map((part) => el("li", {}, el("span", {}, part.label), el("span", { class: "n" }, `± ${part.text}`), el("span", { class: "bar", style: `width:${Math.max(1, Math.round(part.share * 100))}%` })));
    const wasOpen = place.querySelector("details")?.open ?? false;
    const more = el("details", {}, el("summary", {}, text.budget), el("ul", { class: "budget" }, ...rows));
    more.open = wasOpen;
    parts.push(more);
  }
  place.replaceChildren(...parts);
}
