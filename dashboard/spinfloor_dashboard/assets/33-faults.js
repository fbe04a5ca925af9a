/* A part of a page that could not be filled is told in words at the top, never left as "Fetching ...". */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const faults = (spinfloor.faults = {});
  const SILENT = "Expected the service to fill this page; it does not answer; what is shown may be out of date. Reload the page to ask again.";

  /** Follow one question of a page to the service. */
  faults.follow = function (asked) {
    asked.then(async function (answer) {
      if (answer.ok) return;
      const body = await answer.clone().json().catch(function () { return {}; });
      faults.show(body.detail || "Expected the service to fill this page; it answered " + answer.status + "; what is shown may be out of date. Reload the page to ask again.");
    }, function (error) {
      if (error.name !== "AbortError" && !leaving) faults.show(SILENT);
    });
  };

  let leaving = false;
  window.addEventListener("pagehide", function () { leaving = true; });

  faults.show = function (words) {
    const bar = spinfloor.el("shell-fault");
    if (!bar) return;
    const away = spinfloor.make("button", "action", "Dismiss");
    away.type = "button";
    away.addEventListener("click", faults.clear);
    bar.replaceChildren(spinfloor.make("span", "", words), away);
    bar.hidden = false;
    for (const node of document.querySelectorAll(".busy")) {
      node.textContent = "Not fetched.";
      node.classList.remove("busy");
    }
  };

  faults.clear = function () {
    const bar = spinfloor.el("shell-fault");
    if (bar) bar.hidden = true;
  };
})();
