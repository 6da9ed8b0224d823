// Sending photos: one file a request, each with the hash reckoned here; goes on where it stopped.
import { post, say, words } from "./page.js";
import { sha256 } from "./sha256.js";

const form = document.getElementById("upload");
const text = words("upload-words");
const bar = document.getElementById("upload-bar");
const says = document.getElementById("upload-says");
const stop = document.getElementById("upload-stop");
const leftOut = document.getElementById("upload-left-out");
const token = document.querySelector('meta[name="token"]').content;
let isStopped = false;

/** Return the path of a chosen file below its folder. */
const pathOf = (file) => (file.webkitRelativePath ? file.webkitRelativePath.split("/").slice(1).join("/") : file.name);

/** Send one file; resolves to the server's problem where it was refused and the rest can go on. */
async function send(file, batch) {
  const told = { batch, path: pathOf(file), size: file.size, modified_ms: Math.floor(file.lastModified), sha256: await sha256(file) };
  const answer = await fetch(`/take/upload?${new URLSearchParams(told)}`, {
    method: "POST", body: file,
    headers: { "content-type": "application/octet-stream", accept: "application/json", "x-dryslate-token": token },
  });
  if (answer.ok) return null;
  const problem = (await answer.json().catch(() => ({}))).problems?.[0] ?? { message: answer.statusText };
  if (answer.status === 422) return problem;
  throw Object.assign(new Error(problem.message), { told: { problems: [problem] } });
}

/** Say that a file was left out, and why. */
function leave(problem) {
  const line = document.createElement("li");
  line.textContent = `${text.left_out} ${problem.message} ${problem.fix ?? ""}`;
  leftOut.append(line);
}

/** Send what is missing, then have it taken in. */
async function run() {
  const files = [...document.getElementById("upload-folder").files, ...document.getElementById("upload-files").files];
  if (!files.length) { says.textContent = text.none; return; }
  const visit = Object.fromEntries(["site", "date", "observer", "second", "zone"].map((name) => [name, form.elements[name]?.value ?? ""]));
  const begun = await post("/take/upload/begin", { ...visit, files: files.map((f) => ({ path: pathOf(f), size: f.size, modified_ms: Math.floor(f.lastModified) })) });
  bar.hidden = stop.hidden = false;
  bar.max = files.length;
  let n = files.length - begun.missing.length;
  let done = n;
  for (const place of begun.missing) {
    if (isStopped) { says.textContent = text.stopped; return; }
    bar.value = done;
    says.textContent = text.sending.replace("{n}", n).replace("{of}", files.length).replace("{name}", pathOf(files[place]));
    const problem = await send(files[place], begun.batch);
    if (problem) leave(problem); else n += 1;
    done += 1;
  }
  bar.value = done;
  if (!n) { says.textContent = text.nothing; return; }
  says.textContent = (n < files.length ? text.some : text.taking).replace("{n}", n).replace("{of}", files.length);
  const { page } = await post("/take/upload/end", visit);
  if (!leftOut.children.length) { location.href = page; return; }
  const see = document.createElement("a");
  see.href = page;
  see.className = "button main";
  see.textContent = text.see;
  says.append(" ", see);
}

form.hidden = false;
stop.addEventListener("click", () => { isStopped = true; });
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button.main");
  button.disabled = true;
  isStopped = false;
  leftOut.replaceChildren();
  try { await run(); } catch (error) { says.textContent = text.stopped; say(error.told?.problems ?? [{ message: error.message }]); }
  button.disabled = false;
  bar.hidden = stop.hidden = true;
});
