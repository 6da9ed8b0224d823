// Sending a logger's file: what is wrong with it is said beside the form, and nothing has to be typed twice.

const form = document.getElementById("keep-logger");
const said = document.getElementById("logger-said");
const token = document.querySelector('meta[name="token"]').content;

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button.main");
  button.disabled = true;
  said.textContent = form.dataset.busy;
  try {
    const answer = await fetch(form.action, { method: "POST", body: new FormData(form), headers: { "x-dryslate-token": token, "hx-request": "true" } });
    if (answer.redirected) {
      location.href = answer.url;
      location.reload();
      return;
    }
    said.innerHTML = await answer.text();
    said.focus();
  } catch {
    said.textContent = form.dataset.lost;
  }
  button.disabled = false;
});
