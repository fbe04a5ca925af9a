/* Pages with figures fetch the figure library while the service is being asked, not after it has answered. */
(function () {
  "use strict";
  const FIGURES = ["/plan", "/debrief", "/programme"];
  const FILES = ["/_dash-component-suites/plotly/package_data/plotly.min.js", "/_dash-component-suites/dash/dcc/async-graph.js"];
  if (!FIGURES.includes(window.location.pathname)) return;
  for (const file of FILES) document.head.append(Object.assign(document.createElement("link"), { rel: "preload", as: "script", href: file }));
})();
