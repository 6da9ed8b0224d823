// Importing tables: dropped or chosen files are read and checked at once; storing sends the same files again.

const form = document.getElementById("import");
const busy = document.getElementById("busy");
const result = document.getElementById("result");
const tables = document.getElementById("tables");
const mapping = document.getElementById("mapping");
const token = document.querySelector('meta[name="token"]').content;

async function send(what) {
  if (!tables.files.length) return;
  const data = new FormData();
  for (const file of tables.files) data.append("tables", file);
  if (mapping.files.length) data.append("mapping", mapping.files[0]);
  data.append("do", what);
  busy.textContent = what === "store" ? busy.dataset.storing : busy.dataset.reading;
  try {
    const answer = await fetch("/records/import", { method: "POST", body: data, headers: { "x-dryslate-token": token, "hx-request": "true" } });
    result.innerHTML = await answer.text();
    busy.textContent = "";
  } catch {
    result.replaceChildren();
    busy.textContent = await tables.files[0].slice(0, 1).arrayBuffer().then(() => busy.dataset.lost, () => busy.dataset.changed);
  }
}

/** Put the rows of a table in order by a column; again: the other way round. */
function sort(button) {
  const table = button.closest("table");
  const at = Number(button.dataset.column);
  const head = button.closest("th");
  const isBack = head.getAttribute("aria-sort") === "ascending";
  for (const one of table.querySelectorAll("thead th")) one.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", isBack ? "descending" : "ascending");
  const value = (row) => row.children[at].dataset.value ?? row.children[at].textContent;
  const words = new Intl.Collator(document.documentElement.lang, { numeric: true });
  const rows = [...table.tBodies[0].rows].sort((a, b) => words.compare(value(a), value(b)));
  table.tBodies[0].append(...(isBack ? rows.reverse() : rows));
}

form.addEventListener("submit", (event) => { event.preventDefault(); send("check"); });
tables.addEventListener("change", () => send("check"));
mapping.addEventListener("change", () => send("check"));
form.addEventListener("dragover", (event) => { event.preventDefault(); form.classList.add("over"); });
form.addEventListener("dragleave", () => form.classList.remove("over"));
form.addEventListener("drop", (event) => {
  event.preventDefault();
  form.classList.remove("over");
  const sorted = [new DataTransfer(), new DataTransfer()];
  for (const file of event.dataTransfer.files) sorted[file.name.endsWith(".toml") ? 1 : 0].items.add(file);
  if (sorted[0].files.length) tables.files = sorted[0].files;
  if (sorted[1].files.length) mapping.files = sorted[1].files;
  send("check");
});
result.addEventListener("click", (event) => {
  if (event.target.id === "store") { event.target.disabled = true; send("store"); }
  const button = event.target.closest("button[data-column]");
  if (button) sort(button);
  const link = event.target.closest('a[href^="#t"]');
  if (link) document.querySelector(link.getAttribute("href"))?.focus();
});
