/* The figure library: its basic build (lines, points, bars), a quarter of the whole one that Dash would load; and fetched
   while the service is being asked, on pages with figures. */
(function () {
  "use strict";
  const FIGURES = ["/plan", "/debrief", "/programme"];
  const LIBRARY = "/assets/vendor/plotly/plotly-basic.min.js?m=4.1.1";
  const FILES = [LIBRARY, "/_dash-component-suites/dash/dcc/async-graph.js"];
  // Dash writes its own address here before the first figure is drawn; this one stays.
  Object.defineProperty(window, "_dashPlotlyJSURL", { get: function () { return LIBRARY; }, set: function () { /* ours stays */ } });
  if (!FIGURES.includes(window.location.pathname)) return;
  for (const file of FILES) document.head.append(Object.assign(document.createElement("link"), { rel: "preload", as: "script", href: file }));
})();
