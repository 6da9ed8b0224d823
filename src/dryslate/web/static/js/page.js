// What every page does: long jobs as they go on, keys that lead to pages, and posting with the token.

const meta = (name, page = document) => page.querySelector(`meta[name="${name}"]`)?.content ?? "";
let token = meta("token");

/** Take over the token of the session that holds now, where the same person works in it as on this page. */
async function renew() {
  const answer = await fetch("/help", { headers: { accept: "text/html" } }).catch(() => null);
  if (!answer?.ok || answer.redirected) return false;
  const now = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!meta("token", now) || meta("observer", now) !== meta("observer")) return false;
  token = meta("token", now);
  document.querySelector('meta[name="token"]').content = token;
  document.body.setAttribute("hx-headers", JSON.stringify({ "X-Dryslate-Token": token }));
  for (const field of document.querySelectorAll('input[name="csrf"]')) field.value = token;
  return true;
}

/** Send something that changes the records; once more where this page is older than its session. */
async function send(path, options) {
  const sent = () => fetch(path, { method: "POST", ...options, headers: { accept: "application/json", "x-dryslate-token": token, ...options.headers } });
  const answer = await sent();
  if (answer.status !== 403) return answer;
  const told = await answer.clone().json().catch(() => ({}));
  return told.problems?.[0]?.slug === "page-token" && (await renew()) ? sent() : answer;
}

/** Post JSON to this server; resolves to the answer's JSON, rejects with its problems. */
export async function post(path, body, options = {}) {
  const answer = await send(path, { headers: { "content-type": "application/json" }, body: JSON.stringify(body), ...options });
  const told = answer.status === 204 ? {} : await answer.json().catch(() => ({}));
  if (!answer.ok) throw Object.assign(new Error(told.problems?.[0]?.message ?? answer.statusText), { status: answer.status, told });
  return told;
}

/** Post a form (FormData), for uploads. */
export async function postForm(path, form) {
  const answer = await send(path, { body: form });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw Object.assign(new Error(told.problems?.[0]?.message ?? answer.statusText), { status: answer.status, told });
  return told;
}

/** Show what went wrong at the top of the page. */
export function say(problems, kind = "stop") {
  const place = document.getElementById("said");
  place.replaceChildren(
    ...problems.map((problem) => {
      const line = document.createElement("p");
      line.className = kind;
      const strong = document.createElement("b");
      strong.textContent = problem.place ? `${problem.place}${problem.colon ?? ": "}${problem.message}` : problem.message;
      if (problem.lang) line.lang = problem.lang;
      line.append(strong, " ", problem.fix ?? "", " ");
      if (problem.slug) {
        const more = document.createElement("a");
        more.href = `/help/messages#${problem.slug}`;
        more.textContent = problem.slug;
        line.append(more);
      }
      if (problem.slug === "page-sign-in") {
        const way = Object.assign(document.createElement("a"), { href: "/sign-in", target: "_blank", className: "button", textContent: place.dataset.signIn });
        line.append(" ", way);
      }
      return line;
    }),
  );
}

const SAID_NEXT = "dryslate said";

/** Say something on the page that comes next. */
export function sayNext(message) {
  try { sessionStorage.setItem(SAID_NEXT, message); } catch { /* it is not said then */ }
}

/** True where a key press is text for a field and no command. */
export function isTyping(event) {
  const at = event.target;
  return event.ctrlKey || event.altKey || event.metaKey || at.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName);
}

/** A number with so many decimals, as the page's language writes it. */
export function number(value, digits = 0) {
  return value.toLocaleString(document.documentElement.lang, { minimumFractionDigits: digits, maximumFractionDigits: digits });
}

/** Words of a page, translated by the server: JSON in the element with that id. */
export function words(id) {
  return JSON.parse(document.getElementById(id)?.textContent ?? "{}");
}

/** Say what the page before left to be said, once. */
function sayLeft() {
  let message = null;
  try { message = sessionStorage.getItem(SAID_NEXT); sessionStorage.removeItem(SAID_NEXT); } catch { /* then nothing was left */ }
  if (message) say([{ message }], "good");
}
sayLeft();

// A form that was refused comes back as it was typed, when its page is opened again with #again.
const TYPED = "dryslate typed";
document.addEventListener("submit", ({ target: form }) => {
  if (form.method !== "post" || ["/sign-in", "/language", "/light"].includes(form.getAttribute("action"))) return;
  const fields = [...form.elements].filter((f) => f.name && !/^(hidden|password|file|submit|button)$/.test(f.type));
  const kept = fields.map((f) => [f.name, f.value, Boolean(f.checked)]);
  try { sessionStorage.setItem(TYPED, JSON.stringify([location.pathname, form.getAttribute("action"), kept])); } catch { /* it has to be typed again then */ }
});
if (location.hash === "#again") {
  const [path, action, kept] = JSON.parse(sessionStorage.getItem(TYPED) ?? "[]");
  sessionStorage.removeItem(TYPED);
  const form = path === location.pathname ? [...document.forms].find((one) => one.getAttribute("action") === action) : undefined;
  for (const [name, value, checked] of form ? kept : []) {
    for (const field of [...form.elements].filter((f) => f.name === name)) {
      if (/^(radio|checkbox)$/.test(field.type)) { if (field.value === value) field.checked = checked; } else field.value = value;
    }
  }
  form?.querySelector("input:not([type=hidden]), select, textarea")?.focus();
}

// Enter in a field of a form that ends with a choice leads to that choice, and never makes it.
document.addEventListener("keydown", (event) => {
  const form = event.target.form;
  if (event.key !== "Enter" || event.target.tagName !== "INPUT" || !form?.dataset.choice) return;
  event.preventDefault();
  if (form.reportValidity()) form.querySelector(form.dataset.choice)?.focus();
});

const jobs = document.getElementById("jobs");
const jobWords = jobs ? JSON.parse(jobs.dataset.words) : {};

function timeLeft(seconds) {
  if (seconds === null || seconds === undefined) return "";
  const text = seconds < 90 ? `${seconds} ${jobWords.seconds}` : `${Math.round(seconds / 60)} ${jobWords.minutes}`;
  return jobWords.left.replace("{time}", text);
}

/** Follow a long job: a line with its progress, a button to stop it, and where to look when it is done. */
export function follow(job, whenDone) {
  const line = document.createElement("p");
  line.className = "job";
  const name = document.createElement("b");
  const bar = document.createElement("progress");
  const text = document.createElement("span");
  const stop = document.createElement("button");
  bar.setAttribute("aria-label", job.title);
  stop.textContent = jobWords.cancel;
  stop.addEventListener("click", () => { stop.disabled = true; post(`/jobs/${job.job}/cancel`, {}).catch((e) => say(e.told?.problems ?? [{ message: e.message }])); });
  line.append(name, bar, text, stop);
  jobs.append(line);
  const show = (now) => {
    name.textContent = now.title;
    stop.disabled ||= now.is_stopping;
    if (now.n_total) { bar.max = now.n_total; bar.value = now.n_done; } else bar.removeAttribute("value");
    const count = now.n_total ? `${now.n_done} ${jobWords.of} ${now.n_total}` : "";
    text.textContent = [now.what, count, now.is_stopping ? "" : timeLeft(now.left_s)].filter(Boolean).join(" · ");
  };
  show(job);
  const events = new EventSource(`/jobs/${job.job}/events`);
  events.onerror = () => { line.classList.add("lost"); text.textContent = jobWords.lost; };
  events.onmessage = (event) => {
    const now = JSON.parse(event.data);
    line.classList.remove("lost");
    show(now);
    if (now.state === "running") return;
    events.close();
    stop.remove();
    bar.remove();
    text.textContent = jobWords[now.state] ?? now.state;
    if (now.problems.length) say(now.problems);
    if (now.page) {
      const see = document.createElement("a");
      see.href = now.page;
      see.textContent = jobWords.see;
      line.append(see);
    }
    whenDone?.(now);
  };
}

for (const job of JSON.parse(jobs?.dataset.running ?? "[]")) follow(job);

// g and then the page's letter leads there, wherever the focus is (not while typing).
let waiting = false;
document.addEventListener("keydown", (event) => {
  if (isTyping(event)) return;
  if (waiting) {
    waiting = false;
    const way = document.querySelector(`nav a[data-key="${CSS.escape(event.key)}"]`);
    if (way) { event.preventDefault(); location.href = way.href; }
  } else if (event.key === "g") waiting = true;
});
