/* Keeps theatre's pages true: what changed in the record is shown within seconds; what cannot be asked is not shown as
   if it still held. */
"use strict";
(function () {
  const every = 15000;
  const stale = document.getElementById("stale");
  let failed = 0;

  function differs(one, other) { return one.dataset.state !== other.dataset.state; }
  async function look() {
    try {
      const signal = AbortSignal.timeout(8000), headers = { "x-asked-by": "page" };
      const answer = await fetch(location.href, { headers, signal, cache: "no-store" });
      if (answer.status === 401) { location.href = (await answer.json()).login; return; }
      if (!answer.ok) { location.reload(); return; }
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const there = document.getElementById("live"), now = fresh.getElementById("live");
      if (!now) { location.reload(); return; }
      if (differs(there, now)) there.replaceWith(document.adoptNode(now));
      const asof = document.getElementById("asof"), later = fresh.getElementById("asof");
      if (asof && later) asof.replaceWith(document.adoptNode(later));
      failed = 0;
    } catch {
      failed += 1;
    }
    const gone = failed > 1;
    stale.hidden = !gone;
    document.body.classList.toggle("unsure", gone);
  }
  setInterval(look, every);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
})();
