// Fractions of a colony: say as they are typed what is left until they make 100 %.
const ROUNDING = 0.1;

/** Sum the five fractions and say how far they are from a whole. */
function check(form) {
  const fields = [...form.querySelectorAll("fieldset input")];
  const typed = fields.map((f) => f.value.trim().replace(",", ".")).filter((t) => t !== "");
  const sum = form.querySelector(".sum");
  const total = typed.reduce((all, text) => all + Number(text), 0);
  const off = Math.abs(100 - total);
  const shown = Number(off.toFixed(1)).toLocaleString(document.documentElement.lang);
  sum.classList.toggle("over", total > 100 + ROUNDING || Number.isNaN(total));
  if (!typed.length) sum.textContent = "";
  else if (Number.isNaN(total)) sum.textContent = "?";
  else if (off <= ROUNDING) sum.textContent = form.dataset.whole;
  else sum.textContent = (total < 100 ? form.dataset.left : form.dataset.over).replace("{n}", shown);
}

for (const form of document.querySelectorAll("[data-shares]")) {
  form.addEventListener("input", () => check(form));
  check(form);
}
