/* Whether the service can take frames at all: a full disk or a lost store is told as such, not only as data growing old. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const readiness = (spinfloor.readiness = { words: "" });
  const EVERY_MS = 2000;

  readiness.ask = async function () {
    try {
      const answer = await fetch(spinfloor.base() + "/readyz", { signal: AbortSignal.timeout(5000) });
      const body = await answer.json();
      readiness.words = answer.ok ? "" : body.detail;
    } catch (error) {
      readiness.words = ""; // no answer at all: the link says so
    }
  };

  /** What keeps the service or the watched sortie's detector from going on; empty when nothing does. */
  readiness.trouble = function () {
    if (readiness.words) return "NO FRAMES CAN BE TAKEN: " + readiness.words;
    const own = spinfloor.overview.sorties.find(function (sortie) { return sortie.id === spinfloor.link.sortie; });
    return own && own.trouble ? "THE DETECTOR OF THIS SORTIE STANDS: " + own.trouble : "";
  };

  window.setInterval(function () { if (spinfloor.link.sortie && spinfloor.link.open) readiness.ask(); }, EVERY_MS);
})();
