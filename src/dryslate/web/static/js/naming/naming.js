// Naming a coral: keeps the evidence, asks the server what it tells and what to look at next, shows both.

import { isTyping, post, say, sayNext, words } from "../page.js";

const start = words("start");
const text = words("words");
const at = (id) => document.getElementById(id);
const kept = `dryslate naming ${start.record} ${start.observer} ${start.save}`;

/** Steps in the order they were taken: {character, words, kind: seen | not | unclear, states, labels}. */
let steps = [];
let told = null;
let asked = "";
let isNot = false;
let awaitsSure = false;
let round = 0;

function evidence() {
  const found = { seen: {}, not: {}, unclear: [], sizes_mm: start.sizes_mm, juvenile: start.juvenile };
  for (const step of steps) {
    if (step.kind === "unclear") found.unclear.push(step.character);
    else (found[step.kind][step.character] ??= []).push(...step.states);
  }
  return found;
}

function keep() {
  try {
    if (steps.length) localStorage.setItem(kept, JSON.stringify(steps));
    else localStorage.removeItem(kept);
  } catch { /* a browser that keeps nothing still works */ }
  at("unsaved").textContent = steps.length ? text.unsaved : "";
}

function element(tag, content, className) {
  const made = document.createElement(tag);
  if (content !== undefined) made.textContent = content;
  if (className) made.className = className;
  return made;
}

function inLanguage(made, lang) {
  if (lang) made.lang = lang;
  return made;
}

const genera = new Set(start.genera);

/** A text with its genus names in italics, and nothing else. */
function withGenera(tag, content, className) {
  const made = element(tag, undefined, className);
  made.append(...content.split(/\b([A-Z][a-z]{2,})\b/).map((part) => (genera.has(part) ? element("i", part) : part)));
  return made;
}

function key(letter) {
  return element("kbd", letter);
}

async function weigh() {
  const mine = ++round;
  const asks = performance.now();
  at("states").setAttribute("aria-busy", "true"); // until the answer is there its buttons are of the last question
  try {
    const answer = await post("/weigh", { evidence: evidence(), asked, all_equal: at("all-equal").checked });
    if (mine !== round) return;
    told = answer;
    at("said").replaceChildren();
    show();
    performance.measure("weigh", { start: asks, end: performance.now() });
  } catch (error) {
    if (mine === round) say(error.told?.problems ?? [{ message: error.message }]);
  } finally {
    if (mine === round) at("states").setAttribute("aria-busy", "false");
  }
}

function isWeighing() {
  return at("states").getAttribute("aria-busy") === "true";
}

function show() {
  showQuestion();
  showAnswered();
  showTold();
  const name = at("name");
  if (!name.dataset.typed) fillIn();
}

function showQuestion() {
  const question = told.question;
  at("states").replaceChildren();
  at("states").classList.toggle("not", isNot);
  at("mode").hidden = !isNot;
  at("not").setAttribute("aria-pressed", String(isNot));
  at("with").textContent = question ? `${question.name} · ${question.seen_with}` : "";
  at("question").textContent = question ? question.text : text.none;
  for (const state of question?.states ?? []) {
    const button = element("button");
    button.type = "button";
    if (state.drawing) {
      const drawing = element("img");
      drawing.src = state.drawing;
      drawing.alt = "";
      button.append(drawing);
    }
    if (state.key) button.append(key(state.key));
    button.append(element("span", state.words));
    button.addEventListener("click", () => choose(state));
    at("states").append(button);
  }
}

function showAnswered() {
  at("answered").replaceChildren(
    ...steps.map((step, n) => {
      const line = element("li");
      const said = step.kind === "unclear" ? text.unclear : (step.kind === "not" ? `${text.not} ` : "") + step.labels.join(", ");
      const back = element("button", text.takeback);
      back.type = "button";
      back.setAttribute("aria-label", `${text.takeback}${text.colon}${step.words}`);
      back.addEventListener("click", () => { steps.splice(n, 1); changed(); });
      line.append(element("span", `${step.words}${text.colon}${said}`), back);
      return line;
    }),
  );
}

function reasons(title, list) {
  if (!list.length) return [];
  const place = element("ul");
  place.append(...list.map((one) => withGenera("li", one)));
  return [element("span", title, "soft"), place];
}

function showTold() {
  // names shown before anything was looked at would lead the second observer
  const ranked = start.is_blind && !steps.length ? [] : told.ranked;
  at("verdict").replaceChildren(withGenera("span", told.verdict));
  at("accept").disabled = !told.accept;
  at("ranked").replaceChildren(
    ...ranked.map((one) => {
      const line = element("li", undefined, one.likelihood);
      const more = element("details");
      const head = element("summary");
      head.append(withGenera("b", one.genus), element("span", one.words));
      more.append(head, ...reasons(text.for, one.for), ...reasons(text.against, one.against));
      line.append(more);
      return line;
    }),
  );
  at("numbers").textContent = `${text.memory} ${told.memory}`;
  at("prior").textContent = told.prior;
  at("chances").replaceChildren(...ranked.map((one) => withGenera("li", `${one.genus} ${one.probability}`)));
  at("cautions").replaceChildren(...told.cautions.map((one) => withGenera("p", `${one}.`, "stop")));
  at("problems").replaceChildren(...told.problems.filter((p) => p.severity !== "note").map((p) => inLanguage(withGenera("p", `${p.place}${p.colon}${p.message} ${p.fix}`, "warn"), p.lang)));
  at("splits").replaceChildren();
  if (told.splits && ranked.length) {
    const [a, b] = told.splits.genera;
    const line = withGenera("p", `${told.splits.text} `, "hint");
    const link = element("a", text.compare);
    link.href = `/lookalikes?a=${encodeURIComponent(a)}&b=${encodeURIComponent(b)}`;
    line.append(link);
    at("splits").append(line);
  }
}

function changed() {
  asked = "";
  isNot = false;
  setSure(false);
  keep();
  weigh();
}

function step(kind, states, labels) {
  if (!told?.question || isWeighing()) return;
  const { character, name } = told.question;
  steps.push({ character, words: name, kind, states, labels });
  changed();
}

function choose(state) {
  step(isNot ? "not" : "seen", [state.state], [state.words]);
}

function skip() {
  if (!told?.others.length || isWeighing()) return;
  asked = told.others[0].character;
  weigh();
}

function setSure(on) {
  awaitsSure = on;
  at("give").classList.toggle("awaits", on);
}

/** Put the name that the evidence gives into the field, in the page's language; it is saved as the data write it. */
function fillIn() {
  const name = at("name");
  name.value = told.accept ? told.verdict : "";
  name.dataset.accept = told.accept;
}

function accept() {
  if (!told?.accept) return;
  const name = at("name");
  delete name.dataset.typed;
  fillIn();
  setSure(true);
  document.querySelector(".sure button:nth-child(3)").focus();
}

async function save(confidence) {
  const name = at("name").dataset.accept || at("name").value.trim();
  if (!name) { at("name").focus(); return; }
  const said = { name, qualifier: at("qualifier").value, confidence, evidence: evidence(), all_equal: at("all-equal").checked };
  try {
    const answer = await post(start.save, said);
    steps = [];
    keep();
    const to = start.onward || answer.next;
    if (!start.is_blind && !to.endsWith("/name")) sayNext(`${answer.called}. ${text.saved}`); // between two corals it would push the question down
    location.href = to;
  } catch (error) {
    say(error.told?.problems ?? [{ message: error.message }]);
    document.getElementById("said").scrollIntoView();
  }
}

at("unclear").addEventListener("click", () => step("unclear", [], []));
at("skip").addEventListener("click", skip);
at("not").addEventListener("click", () => { isNot = !isNot; showQuestion(); });
at("back").addEventListener("click", () => { steps.pop(); changed(); });
at("accept").addEventListener("click", accept);
at("name").addEventListener("input", () => { at("name").dataset.typed = "yes"; delete at("name").dataset.accept; });
document.querySelector(".sure").addEventListener("focusin", () => setSure(true));
at("give").addEventListener("submit", (event) => { event.preventDefault(); save(Number(event.submitter?.value ?? 3)); });
at("measure")?.addEventListener("change", (event) => {
  const { corallite_diameter, valley_width, ...rest } = start.sizes_mm;
  start.sizes_mm = { ...rest, [event.target.value]: corallite_diameter ?? valley_width };
  changed();
});
at("all-equal").addEventListener("change", weigh);
at("zoom")?.addEventListener("click", () => at("zoom").setAttribute("aria-pressed", String(at("zoom").getAttribute("aria-pressed") !== "true")));

const commands = {
  0: () => step("unclear", [], []),
  s: skip,
  n: () => { isNot = !isNot; showQuestion(); },
  Backspace: () => { if (awaitsSure) setSure(false); else { steps.pop(); changed(); } },
  z: () => at("zoom")?.click(),
  w: () => { at("name").focus(); at("name").select(); },
  q: () => at("qualifier").focus(),
};

document.addEventListener("keydown", (event) => {
  if (isTyping(event) || event.key === "g") return;
  const onControl = /^(BUTTON|A|SUMMARY)$/.test(event.target.tagName);
  if (awaitsSure && /^[1-5]$/.test(event.key)) { event.preventDefault(); save(Number(event.key)); return; }
  if (event.key === "Enter" && !onControl) { event.preventDefault(); accept(); return; }
  if (event.key in commands) { event.preventDefault(); commands[event.key](); return; }
  const state = told?.question?.states.find((one) => one.key === event.key);
  if (state) { event.preventDefault(); choose(state); }
});

addEventListener("pagehide", () => { post(`/corals/${start.record}/let-go`, {}, { keepalive: true }).catch(() => {}); });

try { steps = JSON.parse(localStorage.getItem(kept) ?? "[]"); } catch { steps = []; }
keep();
weigh();
