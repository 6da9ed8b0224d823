// Taking in: the page of a job shows what came of it as soon as it ends.
const waiting = document.querySelector("[data-wait]");

/** Ask how far the job is until it ends, then show the page anew. */
async function watch(id) {
  for (;;) {
    await new Promise((go) => setTimeout(go, 500));
    const answer = await fetch(`/jobs/${id}`, { headers: { accept: "application/json" } }).catch(() => null);
    if (answer && (!answer.ok || (await answer.json()).state !== "running")) return location.reload();
  }
}

if (waiting) watch(waiting.dataset.wait);
