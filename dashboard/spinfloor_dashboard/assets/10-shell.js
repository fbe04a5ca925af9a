/* Header of every page: current page, UTC clock, local time on hover. */
(function () {
  "use strict";
  const spinfloor = window.spinfloor;

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.spinfloor_shell = {
    navigated: function (pathname) {
      spinfloor.faults.clear();
      for (const link of document.querySelectorAll("a.nav")) {
        const target = new URL(link.href).pathname;
        const here = target === pathname || (target === "/" && pathname === "/watch");
        if (here) link.setAttribute("aria-current", "page");
        else link.removeAttribute("aria-current");
      }
      return "";
    },
  };

  window.setInterval(function () {
    const nowMs = spinfloor.clock.serverMs();
    spinfloor.text("shell-clock", spinfloor.utc(nowMs) + " UTC");
    const clock = spinfloor.el("shell-clock");
    const ahead = Math.round(spinfloor.clock.aheadMs() / 1000);
    const wrong = Math.abs(ahead) < 2 ? "" : "; by the service's clock, this computer's is " + Math.abs(ahead) + " s " + (ahead > 0 ? "ahead" : "behind");
    if (clock) clock.title = new Date(nowMs).toLocaleString() + " local" + wrong;
    for (const node of document.querySelectorAll("time.utc:not([title])")) {
      node.title = new Date(node.dateTime).toLocaleString() + " local";
    }
  }, 500);
})();
