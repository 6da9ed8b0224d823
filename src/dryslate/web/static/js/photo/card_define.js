// A card defined from this photo: its corners, two ticks of its scale, and its patches, marked one after the other.

import { post, say } from "../page.js";
import { steps } from "./undo.js";
import { el } from "./reading.js";

const REST_MS = 350;
const FIRST_PATCH = 6; // four corners and two ticks come before
const LEAST = FIRST_PATCH + 6; // three patches
const at = (id) => document.getElementById(id);

/** The tool that marks a card; `parts`: address(what), text, failed(error), opened(), closed(), defined(name), away(name). */
export function defineTool(points, parts) {
  const { text, address, failed } = parts;
  const named = []; // of each patch: {id, role, isChosen}; it stays while marks are taken back and set again
  let resting = null, asked = 0, isLooked = false; // looked: the server has seen the marks as they are now

  const boxes = (set) => {
    const found = [];
    for (let i = FIRST_PATCH; i + 1 < set.length; i += 2) found.push([...set[i], ...set[i + 1]]);
    return found;
  };
  const nameOf = (n) => (named[n] ??= { id: `p${n + 1}`, role: "neutral", isChosen: false });
  const body = (set) => ({
    corners: set.slice(0, 4), ticks: set.slice(4, 6), ticks_mm: Number(at("define-mm").value), point_u_px: points.doubt,
    patches: boxes(set).map((box, n) => ({ id: nameOf(n).id, role: nameOf(n).role, box })),
  });
  const ring = ([x1, y1], [x2, y2]) => [[x1, y1], [x2, y1], [x2, y2], [x1, y2]];

  function list(set) {
    const rows = boxes(set).map((_, n) => {
      const mine = nameOf(n);
      const name = el("input", { "aria-label": text.patch_name.replace("{n}", n + 1), maxlength: "40", value: mine.id, autocomplete: "off" });
      const role = el("select", { "aria-label": text.patch_role.replace("{n}", n + 1) }, ...["neutral", "colour"].map((r) => el("option", { value: r, ...(mine.role === r ? { selected: "" } : {}) }, text[r])));
      name.addEventListener("input", () => { mine.id = name.value.trim(); ready(); });
      role.addEventListener("change", () => { Object.assign(mine, { role: role.value, isChosen: true }); ready(); });
      const swatch = el("span", { class: "swatch", "data-swatch": String(n) });
      if (mine.hex) swatch.style.background = mine.hex;
      return el("li", {}, el("b", {}, String(n + 1)), swatch, name, role);
    });
    at("define-patches").replaceChildren(...(rows.length ? [el("ol", { class: "patches" }, ...rows)] : []));
  }

  /** Save can be asked for once there are three greys and a name; the server says what is still wrong. */
  function ready() {
    const set = points.points, n = boxes(set).length;
    const greys = named.slice(0, n).filter((one) => one?.role === "neutral").length;
    const isWhole = set.length >= LEAST && (set.length - FIRST_PATCH) % 2 === 0;
    at("define-save").disabled = !(isWhole && isLooked && greys >= 3 && at("define-name").value.trim() && Number(at("define-mm").value) > 0);
  }

  async function look() {
    const set = points.points, mine = (asked += 1);
    if (set.length < FIRST_PATCH || !(Number(at("define-mm").value) > 0)) { at("define-try").replaceChildren(); return; }
    try {
      const told = await post(address("define/try"), body(set));
      if (mine !== asked || points.tool !== tool) return;
      isLooked = !told.refused;
      at("define-try").innerHTML = told.html;
      told.seen.forEach(([hex, role], n) => {
        const one = nameOf(n);
        one.hex = hex;
        if (role && !one.isChosen) one.role = role;
      });
      if (!at("define-patches").contains(document.activeElement)) list(set);
      ready();
    } catch (error) { failed(error); }
  }

  function hint(n) {
    if (n < 4) return text.place_corner.replace("{n}", n + 1).replace("{corner}", text.corners[n]);
    if (n < FIRST_PATCH) return text.place_tick.replace("{n}", n - 3);
    const patch = Math.floor((n - FIRST_PATCH) / 2) + 1;
    const line = ((n - FIRST_PATCH) % 2 ? text.place_box_end : text.place_box).replace("{n}", patch);
    return patch <= 3 ? line : `${line} ${text.define_needs}`;
  }

  const tool = {
    name: "define",
    most: Infinity,
    least: LEAST,
    labels(i) {
      if (i < 4) return text.corners[i];
      if (i < FIRST_PATCH) return text.tick.replace("{n}", i - 3);
      return text.box.replace("{n}", Math.floor((i - FIRST_PATCH) / 2) + 1).replace("{k}", ((i - FIRST_PATCH) % 2) + 1);
    },
    short(i) {
      if (i < 4) return String(i + 1);
      if (i < FIRST_PATCH) return "mm";
      return (i - FIRST_PATCH) % 2 ? "" : String((i - FIRST_PATCH) / 2 + 1);
    },
    shapes(set) {
      const shapes = [{ points: set.slice(0, 4), closed: set.length >= 4 }, { points: set.slice(4, 6), closed: false }];
      for (let i = FIRST_PATCH; i + 1 < set.length; i += 2) shapes.push({ points: ring(set[i], set[i + 1]), closed: true });
      return shapes;
    },
    texts: { begin: text.begin_define, set: text.set_mark, move: text.move_mark, take: text.take_mark, drop: text.drop_define },
    begun() { parts.opened(); at("define-done").replaceChildren(); },
    ended() { parts.closed(); clearTimeout(resting); at("define-try").replaceChildren(); at("define-patches").replaceChildren(); },
    changed(set, isResting) {
      at("define-hint").textContent = hint(set.length);
      clearTimeout(resting);
      isLooked = false;
      if (!isResting) return;
      list(set);
      ready();
      resting = setTimeout(() => { if (points.tool === tool) look(); }, REST_MS);
    },
    async submit() {
      if (!isLooked) { clearTimeout(resting); await look(); } // asked for sooner than the marks were looked at
      if (at("define-save").disabled) { at("define-name").focus(); return; }
      const wanted = { ...body(points.points), name: at("define-name").value.trim() };
      const save = async () => {
        const told = await post(address("define"), wanted);
        at("define-done").innerHTML = told.html;
        parts.defined(told.card);
        return told;
      };
      const away = async () => {
        await post(address("define/away"), { name: wanted.name });
        at("define-done").replaceChildren();
        parts.away(wanted.name);
      };
      try {
        await save();
        say([]);
        points.finish();
        named.length = 0;
        steps.push({ label: text.defined, undo: away, redo: save });
        at("define-done").querySelector("a")?.scrollIntoView({ block: "nearest" });
      } catch (error) { failed(error); }
    },
  };

  at("define-form").addEventListener("submit", (event) => event.preventDefault());
  at("define-form").addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    const { id } = event.target;
    if (id === "define-rows" || id === "define-columns") at("define-grid").click();
    else tool.submit();
  });
  for (const id of ["define-name", "define-mm"]) at(id).addEventListener("input", () => {
    if (id === "define-mm") { isLooked = false; clearTimeout(resting); resting = setTimeout(look, REST_MS); }
    ready();
  });
  at("define-grid").addEventListener("click", async () => {
    const set = points.points, found = boxes(set);
    if (found.length < 2) return;
    try {
      const told = await post(address("define/grid"), { corners: set.slice(0, 4), first: found[0], last: found.at(-1), rows: Number(at("define-rows").value), columns: Number(at("define-columns").value) });
      points.replace([...set.slice(0, FIRST_PATCH), ...told.boxes.flatMap(([x1, y1, x2, y2]) => [[x1, y1], [x2, y2]])], text.filled);
    } catch (error) { failed(error); }
  });
  return tool;
}
