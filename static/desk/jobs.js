// Follows the job a page shows and opens the page again when it ends; without it, reloading does the same.
"use strict";
for (const box of document.querySelectorAll("[data-job]")) {
  const note = box.querySelector(".job-note");
  const bar = box.querySelector("progress");
  const look = async () => {
    try {
      const reply = await fetch(`/jobs/${box.dataset.job}.json`, { credentials: "same-origin" });
      const job = await reply.json();
      if (job.state !== "waiting" && job.state !== "running") { window.location.reload(); return; }
      bar.value = job.done;
      if (job.note) note.textContent = job.note;
    } catch { /* the server is away for a moment: ask again */ }
    setTimeout(look, 1500);
  };
  setTimeout(look, 1000);
}
