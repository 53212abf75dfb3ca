// Asks now and then how the reckoning is doing, says so, and opens the page when it ends; without this, the page opens itself again each minute.
"use strict";
(() => {
  const FIRST_S = 3;
  const MOST_S = 20;
  const SEEN_S = 2;
  const box = document.querySelector("#reckoning[data-job]");
  if (!box) return;
  const told = document.querySelector("#told");
  const how = document.querySelector("#how");
  const bar = box.querySelector("progress");
  const again = Number(box.dataset.again);
  const sayAgain = again * (box.dataset.state === "waiting" ? 1 : 5);
  const troubled = document.querySelector("#trouble") !== null;
  const from = Date.now();
  const tell = (words) => { if (told.textContent !== words) told.textContent = words; };
  let wait = FIRST_S;
  let timer = 0;

  const later = (seconds, what) => { clearTimeout(timer); timer = setTimeout(what, seconds * 1000); };
  const open = () => window.location.reload();

  const look = async () => {
    if (document.hidden) return;
    try {
      const reply = await fetch(`/jobs/${box.dataset.job}.json`, { credentials: "same-origin", headers: { Accept: "application/json" } });
      if (!reply.ok) { later(again, open); return; }
      const job = await reply.json();
      if (job.state !== "waiting" && job.state !== "running") { tell(box.dataset.done); later(SEEN_S, open); return; }
      // Begun, or slower than usual: the page has other words for it.
      if (job.state !== box.dataset.state || (!troubled && Date.now() - from > sayAgain * 1000)) { open(); return; }
      bar.value = job.done;
      if (job.note && !how.textContent.includes(job.note)) { how.textContent = job.note; tell(job.note); }
      wait = Math.min(wait * 1.5, MOST_S);
    } catch {
      tell(box.dataset.away);
      wait = again;
    }
    later(wait, look);
  };

  document.addEventListener("visibilitychange", () => { if (!document.hidden) later(1, look); });
  later(FIRST_S, look);
})();
