/* Live strips: six traces, 60 s, redrawn by the page's beat (25 a second). */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const WINDOW_S = 60;
  const GAP_S = 0.5;
  const NUMBERS_EVERY = 3; // redraws: figures that change 25 times a second cannot be read
  // column, decimals, symmetrical about zero, least half-range or range
  const TRACES = [
    ["yaw_rate_dps", 0, true, 30], ["roll_rate_dps", 0, true, 30], ["pitch_rate_dps", 0, true, 30],
    ["alpha_deg", 0, false, 30], ["altitude_ft", 0, false, 400], ["calibrated_airspeed_kt", 0, false, 40],
  ];
  const strips = (spinfloor.strips = { redraws: 0 });
  let base = null; // nanoseconds of x = 0, so that seconds keep their precision
  let times = [];
  let columns = {};
  let arrivedMs = 0;
  const plots = new Map();

  strips.forget = function () {
    base = null;
    times = [];
    columns = {};
    for (const trace of TRACES) columns[trace[0]] = [];
  };
  strips.forget();

  strips.see = function (strip) {
    const count = strip.time_ns.length;
    if (!count) return;
    arrivedMs = spinfloor.now();
    if (base === null) base = strip.time_ns[0];
    for (let i = 0; i < count; i += 1) {
      const at = (strip.time_ns[i] - base) / 1e9;
      const last = times.length ? times[times.length - 1] : -Infinity;
      if (at < last - 5) { strips.forget(); strips.see(strip); return; } // the source jumped back: a replay was moved
      if (at <= last) continue;
      if (at - last > GAP_S && times.length) push(last + 0.001, null, 0); // a gap is shown as a gap
      push(at, strip, i);
    }
    const floor = times[times.length - 1] - WINDOW_S - 2;
    let drop = 0;
    while (drop < times.length && times[drop] < floor) drop += 1;
    if (drop > 200) {
      times.splice(0, drop);
      for (const trace of TRACES) columns[trace[0]].splice(0, drop);
    }
  };

  /** Put fetched frames of the last minute under what came live meanwhile. */
  strips.backfill = function (fetched) {
    const kept = base === null ? null : { time_ns: times.map(function (at) { return base + at * 1e9; }), columns: columns };
    strips.forget();
    strips.see(Object.assign({ altitude_ft: fetched.pressure_altitude_ft }, fetched));
    if (kept) strips.see(Object.assign({ time_ns: kept.time_ns }, kept.columns));
  };

  function push(at, strip, i) {
    times.push(at);
    for (const trace of TRACES) {
      const values = strip && strip[trace[0]];
      columns[trace[0]].push(values && values[i] !== undefined ? values[i] : null);
    }
  }

  function plotFor(trace, box) {
    let plot = plots.get(trace[0]);
    if (plot && plot.root.parentNode === box) return plot;
    if (plot) plot.destroy();
    box.replaceChildren();
    plot = new window.uPlot({
      width: Math.max(20, spinfloor.sizeOf(box).width), height: Math.max(10, spinfloor.sizeOf(box).height), padding: [2, 0, 2, 0],
      legend: { show: false }, cursor: { show: false }, select: { show: false },
      scales: { x: { time: false, auto: false }, y: { range: function (_plot, low, high) { return range(trace, low, high); } } },
      axes: [{ show: false }, { show: false }],
      series: [{}, { stroke: "#cfe6fb", width: 1.5, points: { show: false }, spanGaps: false }],
    }, [[], []], box);
    plots.set(trace[0], plot);
    return plot;
  }

  function range(trace, low, high) {
    if (low === null || high === null || !isFinite(low)) return [0, 1];
    if (trace[2]) {
      const half = Math.max(trace[3], 1.1 * Math.max(Math.abs(low), Math.abs(high)));
      return [-half, half];
    }
    const middle = (low + high) / 2;
    const half = Math.max(trace[3] / 2, 0.55 * (high - low));
    return [middle - half, middle + half];
  }

  /** The right edge keeps moving when nothing arrives, so that silence is seen as an empty right end. */
  strips.draw = function () {
    const quiet = Math.min(WINDOW_S, Math.max(0, spinfloor.now() - arrivedMs) / 1000);
    const last = times.length ? times[times.length - 1] : 0;
    const right = last + (quiet > 0.25 ? quiet : 0);
    for (const trace of TRACES) {
      const box = spinfloor.el("w-strip-" + trace[0]);
      const size = box && spinfloor.sizeOf(box);
      if (!size || !size.width) continue;
      const plot = plotFor(trace, box);
      if (plot.width !== size.width || plot.height !== size.height) plot.setSize(size);
      plot.batch(function () {
        plot.setData([times, columns[trace[0]]], false);
        plot.setScale("x", { min: right - WINDOW_S, max: right });
      });
      if (strips.redraws % NUMBERS_EVERY) continue;
      const values = columns[trace[0]];
      const now = values.length ? values[values.length - 1] : null;
      spinfloor.text("w-now-" + trace[0], spinfloor.panels.whole(now));
      const y = plot.scales.y;
      spinfloor.text("w-scale-" + trace[0], values.some(spinfloor.known) && isFinite(y.min) ? spinfloor.panels.whole(y.max) + "\n" + spinfloor.panels.whole(y.min) : "");
    }
    strips.redraws += 1;
  };
})();
