/* The height picture: altitude against turns, the floors, and where a recovery begun now would be level. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const known = spinfloor.known;
  const height = (spinfloor.height = { path: [], whole: [], ended: false });
  const INK = { text: "#f0f5f7", soft: "#a9bac3", line: "#2a363e", path: "#6fb7ff", warning: "#ff4b3e", floor: "#dfe7eb" };
  const NAMED = [["recovery floor", "recovery_ft", 3], ["chute floor", "chute_ft", 2], ["abandon floor", "abandon_ft", 3], ["ground", "ground_ft", 1]];
  let spin = null;

  height.forget = function () { height.path = []; height.whole = []; height.predicted = null; spin = null; };

  /** Remember the way down; a new spin begins a new line. */
  height.see = function (state) {
    if (state.in_spin && state.spin_ordinal !== spin) { height.forget(); spin = state.spin_ordinal; }
    if (!known(state.altitude_ft)) return;
    const turns = known(state.turns) ? state.turns : height.path.length ? height.path[height.path.length - 1][0] : 0;
    if (!state.in_spin && !height.path.length) return;
    while (height.path.length && height.path[height.path.length - 1][0] > turns) height.path.pop(); // turns taken back: carried ones, or an end that was dated back
    const last = height.path[height.path.length - 1];
    if (!last || Math.abs(last[1] - state.altitude_ft) > 8) height.path.push([turns, state.altitude_ft]);
    if (height.path.length > 3000) height.path.shift();
    if (state.in_spin && !state.recovery_started) height.predicted = null; // a recovery that was given up predicts nothing
    if (state.recovery_started && state.altitude_left_ft && !height.predicted && known(state.altitude_left_ft.median)) {
      height.predicted = levels(state);
    }
  };

  height.seeEvent = function (event) {
    const data = event.data;
    if (event.kind === "spin.started") { height.whole = []; height.path = []; height.predicted = null; }
    if (event.kind === "spin.turn" && known(data.turns) && known(data.altitude_ft)) height.whole.push([data.turns, data.altitude_ft]);
  };

  /** The way down: the turns called before this page was opened, then every height since. */
  function line() {
    const first = height.path.length ? height.path[0][0] : Infinity;
    return height.whole.filter(function (p) { return p[0] < first; }).concat(height.path);
  }

  function levels(state) {
    const floor = state.floors.recovery_ft;
    return { turns: state.turns, median: floor + state.altitude_left_ft.median, bound: floor + state.altitude_left_ft.bound };
  }

  function span(state) {
    const floors = state.floors || {};
    const low = [floors.abandon_ft, floors.recovery_ft, state.altitude_ft].filter(known);
    const high = line().map(function (p) { return p[1]; }).concat([state.altitude_ft, floors.recovery_ft]).filter(known);
    if (!low.length || !high.length) return null;
    let bottom = Math.min.apply(null, low);
    let top = Math.max.apply(null, high);
    const room = Math.max(500, top - bottom);
    if (known(floors.ground_ft) && bottom - floors.ground_ft < 0.3 * room) bottom = Math.min(bottom, floors.ground_ft);
    top += 0.08 * room;
    bottom -= 0.05 * room;
    const last = Math.max.apply(null, line().map(function (p) { return p[0]; }).concat([known(state.turns) ? state.turns : 0]));
    const turns = Math.max(known(state.planned_turns) ? state.planned_turns + 2 : 4, Math.ceil(last + 1.2));
    return { top: top, bottom: bottom, turns: turns };
  }

  /** Draw; `em` scales every stroke and letter with the canvas. */
  height.draw = function () {
    const canvas = spinfloor.el("w-height");
    if (!canvas) return;
    const ratio = window.devicePixelRatio || 1;
    const inside = spinfloor.sizeOf(canvas);
    const width = inside.width;
    const tall = inside.height;
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(tall * ratio)) canvas.height = Math.round(tall * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, tall);
    const state = spinfloor.link.state;
    const size = state ? span(state) : null;
    const em = Math.max(13, Math.min(24, window.innerHeight * 0.021, window.innerWidth * 0.0118));
    if (!size || width < 50) return nothing(pen, canvas, em);
    const left = em * 4.2;
    const right = margin(pen, em, state);
    const scale = {
      x: function (turns) { return left + ((width - left - right) * Math.max(0, turns)) / size.turns; },
      y: function (ft) { return 4 + ((tall - em * 1.5 - 4) * (size.top - ft)) / (size.top - size.bottom); },
      left: left, width: width, right: width - right, em: em, tall: tall, bottom: tall - em * 1.5,
    };
    axes(pen, scale, size, state);
    floors(pen, scale, state);
    way(pen, scale, state);
    say(canvas, spoken(state));
    return undefined;
  };

  function nothing(pen, canvas, em) {
    const words = "No height known yet.";
    letter(pen, { em: em }, words, 2, em, INK.text); // the picture is dimmed while nothing is live
    say(canvas, words);
  }

  function face(em, weight) { return (weight || 400) + " " + em + "px 'Barlow Semi Condensed', sans-serif"; }

  /** Room at the right for the longest floor's name and height. */
  function margin(pen, em, state) {
    pen.font = face(em, 600);
    const floors = state.floors || {};
    const widest = NAMED.map(function (entry) { return known(floors[entry[1]]) ? pen.measureText(entry[0] + " " + spinfloor.panels.whole(floors[entry[1]])).width : 0; });
    return Math.max(em * 4, Math.max.apply(null, widest) + 14);
  }

  /** A label beside a point: to its right, or to its left where it would run into the names of the floors. */
  function beside(pen, scale, words, x, off, y, colour, weight) {
    pen.font = face(scale.em, weight);
    const wide = pen.measureText(words).width;
    const start = x + off + wide > scale.right ? x - off - wide : x + off;
    pen.fillStyle = "rgba(18,24,28,.95)";
    pen.fillRect(start - 3, y - scale.em * 0.55, wide + 6, scale.em * 1.1);
    letter(pen, scale, words, start, y, colour, "left", weight);
  }

  function letter(pen, scale, words, x, y, colour, align, weight) {
    pen.font = face(scale.em, weight);
    pen.fillStyle = colour;
    pen.textAlign = align || "left";
    pen.textBaseline = "middle";
    pen.fillText(words, x, y);
  }

  function rule(pen, x0, y0, x1, y1, colour, wide, dash) {
    pen.beginPath();
    pen.setLineDash(dash || []);
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.moveTo(x0, y0);
    pen.lineTo(x1, y1);
    pen.stroke();
    pen.setLineDash([]);
  }

  function axes(pen, scale, size, state) {
    const steps = [100, 200, 500, 1000, 2000, 5000, 10000];
    const want = (size.top - size.bottom) / Math.max(3, scale.tall / (scale.em * 2.6));
    const step = steps.find(function (s) { return s >= want; }) || 20000;
    for (let ft = Math.ceil(size.bottom / step) * step; ft < size.top; ft += step) {
      const y = scale.y(ft);
      if (y > scale.tall - scale.em * 2) continue;
      rule(pen, scale.left, y, scale.right, y, INK.line, 1);
      letter(pen, scale, spinfloor.panels.whole(ft), scale.left - 6, y, INK.soft, "right");
    }
    const each = size.turns > 12 ? 5 : size.turns > 8 ? 2 : 1;
    for (let turn = 0; turn <= size.turns; turn += each) letter(pen, scale, String(turn), scale.x(turn), scale.tall - scale.em * 0.6, INK.soft, "center");
    letter(pen, scale, "turns", scale.left - scale.em * 0.9, scale.tall - scale.em * 0.6, INK.soft, "right");
    if (known(state.planned_turns)) {
      const x = scale.x(state.planned_turns);
      rule(pen, x, 0, x, scale.tall - scale.em * 1.4, INK.soft, 2, [3, 5]);
    }
  }

  /** Each floor is a line with its name and height; names move apart where floors are close. */
  function floors(pen, scale, state) {
    const drawn = [];
    for (const entry of NAMED) {
      const ft = (state.floors || {})[entry[1]];
      if (!known(ft)) continue;
      const y = scale.y(ft);
      if (y > scale.bottom) { // far below: named, not drawn
        drawn.push({ words: entry[0] + " " + spinfloor.panels.whole(ft) + " \u2193", y: scale.tall, colour: INK.soft, far: true });
        continue;
      }
      const colour = known(state.altitude_ft) && state.altitude_ft < ft && state.in_spin ? INK.warning : INK.floor;
      rule(pen, scale.left, y, scale.right, y, colour, entry[2], entry[1] === "chute_ft" ? [8, 5] : []);
      drawn.push({ words: entry[0] + " " + spinfloor.panels.whole(ft), y: y, colour: colour });
    }
    plan(pen, scale, state);
    drawn.sort(function (a, b) { return b.y - a.y; });
    let lowest = scale.tall - scale.em * 0.6;
    for (const name of drawn) {
      const at = Math.min(name.y, lowest);
      lowest = at - scale.em * 1.08;
      letter(pen, scale, name.words, scale.right + (name.far ? scale.em : 8), at, name.colour, "left", 600);
    }
  }

  /** The name of the plan's line stands where no aircraft is meant to come; above, where the words of the box are down there. */
  function plan(pen, scale, state) {
    if (!known(state.planned_turns)) return;
    const below = scale.bottom - scale.em * 0.7;
    const ahead = spinfloor.panels.coming(state) && known(state.altitude_left_ft.median) ? levels(state) : height.predicted;
    const taken = ahead && Math.abs(wordsAt(scale, ahead) - below) < scale.em * 1.4;
    beside(pen, scale, "plan", scale.x(state.planned_turns), 6, taken ? scale.em * 0.7 : below, INK.soft);
  }

  /** Where the words beside the box stand. */
  function wordsAt(scale, level) { return Math.min((scale.y(level.median) + scale.y(level.bound)) / 2, scale.tall - scale.em * 2); }

  function way(pen, scale, state) {
    const way = line();
    if (way.length > 1) {
      pen.beginPath();
      pen.lineWidth = 3;
      pen.strokeStyle = INK.path;
      way.forEach(function (p, i) { pen[i ? "lineTo" : "moveTo"](scale.x(p[0]), scale.y(p[1])); });
      pen.stroke();
    }
    for (const point of height.whole) dot(pen, scale.x(point[0]), scale.y(point[1]), 4, INK.text);
    if (!known(state.altitude_ft)) return;
    const x = scale.x(known(state.turns) ? state.turns : 0);
    const y = scale.y(state.altitude_ft);
    let low = y;
    let ending = null;
    if (spinfloor.panels.coming(state) && known(state.altitude_left_ft.median)) {
      low = scale.y(levels(state).median);
      ending = ends(pen, scale, levels(state), x, y, state);
    } else if (height.predicted && height.path.length) ending = ends(pen, scale, height.predicted, scale.x(height.predicted.turns), null, state);
    dot(pen, x, y, 7, INK.text);
    const lift = low - y < scale.em * 1.6 ? scale.em * 0.9 : scale.em * 0.2;
    const at = Math.max(scale.em * 0.6, ending !== null && Math.abs(y - lift - ending) < scale.em * 1.1 ? ending - scale.em * 1.1 : y - lift);
    beside(pen, scale, spinfloor.panels.whole(state.altitude_ft) + " ft", x, 12, at, INK.text, 700);
  }

  function dot(pen, x, y, radius, colour) {
    pen.beginPath();
    pen.fillStyle = colour;
    pen.arc(x, y, radius, 0, 2 * Math.PI);
    pen.fill();
  }

  /** Where a recovery begun now is level: a box from the median down to the cautious bound, hung from the aircraft. Answers where its label is. */
  function ends(pen, scale, level, x, from, state) {
    const median = scale.y(level.median);
    const bound = scale.y(level.bound);
    const below = level.bound < state.floors.recovery_ft;
    const colour = below ? INK.warning : INK.text;
    const lowest = scale.bottom - 2; // what lies below the picture is an arrow, not a box over the axis
    if (from !== null) rule(pen, x, from, x, Math.min(median, lowest), colour, 2, [4, 4]);
    pen.fillStyle = below ? "rgba(255,75,62,.35)" : "rgba(240,245,247,.22)";
    if (median < lowest) {
      pen.fillRect(x - 14, median, 28, Math.max(2, Math.min(bound, lowest) - median));
      rule(pen, x - 22, median, x + 22, median, colour, 2);
    }
    if (bound <= lowest) rule(pen, x - 22, bound, x + 22, bound, colour, 4);
    else arrow(pen, x, lowest, colour);
    const words = from === null ? "was foreseen" : below ? "level BELOW FLOOR" : "level here";
    const at = wordsAt(scale, level);
    beside(pen, scale, words, x, 28, at, colour, 600);
    return at;
  }

  function arrow(pen, x, tip, colour) {
    pen.beginPath();
    pen.fillStyle = colour;
    pen.moveTo(x - 10, tip - 12);
    pen.lineTo(x + 10, tip - 12);
    pen.lineTo(x, tip);
    pen.fill();
  }

  let said = "";
  let saidAt = 0;
  function say(canvas, words) {
    const now = performance.now();
    if (words === said || now - saidAt < 2000) return;
    said = words;
    saidAt = now;
    canvas.setAttribute("aria-label", words);
  }

  function spoken(state) {
    const whole = spinfloor.panels.whole;
    const left = state.altitude_left_ft;
    return "Height picture. Now " + whole(state.altitude_ft) + " feet; recovery floor " + whole((state.floors || {}).recovery_ft) +
      " feet" + (left && known(left.bound) ? "; altitude left, cautious, " + whole(left.bound) + " feet" : "") + ".";
  }
})();
