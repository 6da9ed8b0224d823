// Completing a cell from a list: first letters, a list below the cell, taken on leaving it where only one fits.

const MOST = 8;
const list = document.createElement("ul");
list.id = "options";
list.setAttribute("role", "listbox");
list.hidden = true;
let input = null;
let found = [];
let active = -1;

/** What is listed for some letters: labels that begin so, else those that hold them. */
export function matches(options, text) {
  const low = text.trim().toLowerCase();
  if (!low) return [];
  const begin = options.filter(([, label]) => label.toLowerCase().startsWith(low));
  return begin.length ? begin : options.filter(([, label]) => label.toLowerCase().includes(low));
}

/** The option that a text stands for: its whole label, or the only one that begins so. */
export function standsFor(options, text) {
  const low = text.trim().toLowerCase();
  if (!low) return null;
  const whole = options.find(([value, label]) => label.toLowerCase() === low || String(value).toLowerCase() === low);
  if (whole) return whole;
  const some = options.filter(([, label]) => label.toLowerCase().startsWith(low));
  return some.length === 1 ? some[0] : null;
}

function close() {
  if (!input) return;
  input.setAttribute("aria-expanded", "false");
  input.removeAttribute("aria-activedescendant");
  list.hidden = true;
  input = null;
  active = -1;
}

function mark(at) {
  active = at;
  [...list.children].forEach((row, n) => row.setAttribute("aria-selected", String(n === at)));
  if (at >= 0) { input.setAttribute("aria-activedescendant", `option-${at}`); list.children[at].scrollIntoView({ block: "nearest" }); }
  else input.removeAttribute("aria-activedescendant");
}

function show(cell, options, whenTaken) {
  found = matches(options, cell.value).slice(0, MOST);
  if (!found.length || (found.length === 1 && found[0][1] === cell.value)) return close();
  input = cell;
  list.replaceChildren(...found.map(([, label, note], n) => {
    const row = document.createElement("li");
    row.id = `option-${n}`;
    row.setAttribute("role", "option");
    const name = document.createElement("b");
    name.textContent = label;
    row.append(name, note ? ` ${note}` : "");
    row.addEventListener("pointerdown", (event) => { event.preventDefault(); take(n, whenTaken); });
    return row;
  }));
  const box = cell.getBoundingClientRect();
  list.hidden = false;
  list.style.left = `${Math.max(0, Math.min(box.left, innerWidth - list.offsetWidth - 8)) + scrollX}px`;
  const below = box.bottom + list.offsetHeight < innerHeight;
  list.style.top = `${(below ? box.bottom : box.top - list.offsetHeight) + scrollY}px`;
  cell.setAttribute("aria-expanded", "true");
  mark(-1);
}

function take(at, whenTaken) {
  const cell = input;
  cell.value = found[at][1];
  close();
  whenTaken(cell);
}

/** Complete every cell below `root` that has a list; `optionsOf(cell)` gives it, `whenTaken(cell)` is told. */
export function completeIn(root, optionsOf, whenTaken) {
  document.getElementById("main").append(list);
  root.addEventListener("input", (event) => { if (event.target.getAttribute("role") === "combobox") show(event.target, optionsOf(event.target), whenTaken); });
  root.addEventListener("focusout", close);
  root.addEventListener("keydown", (event) => {
    const cell = event.target;
    if (cell.getAttribute("role") !== "combobox") return;
    const isOpen = input === cell && !list.hidden;
    if (isOpen && event.key === "ArrowDown") { event.preventDefault(); mark(Math.min(found.length - 1, active + 1)); event.stopImmediatePropagation(); }
    else if (isOpen && event.key === "ArrowUp" && active >= 0) { event.preventDefault(); mark(active - 1); event.stopImmediatePropagation(); }
    else if (isOpen && event.key === "Escape") { event.preventDefault(); close(); }
    else if (event.key === "Tab" || event.key === "Enter") {
      if (isOpen && active >= 0) return take(active, whenTaken);
      const one = standsFor(optionsOf(cell), cell.value);
      close();
      if (one && one[1] !== cell.value) { cell.value = one[1]; whenTaken(cell); }
    }
  });
}
