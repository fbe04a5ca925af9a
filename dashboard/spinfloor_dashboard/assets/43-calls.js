/* The last call, large; the log of calls and marks; which calls did not sound. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const FRESH_MS = 6000;
  const ROWS = 150;
  const WARNINGS = ["recover", "chute", "abandon"];
  const make = spinfloor.make;
  const calls = (spinfloor.calls = { shown: null, outcome: new Map() });
  let entries = []; // {event, atMs, count}

  calls.forget = function () { entries = []; calls.shown = null; calls.outcome.clear(); spinfloor.unheard.forget(); renderLog(); };

  function callOf(event) {
    if (event.kind === "call") return event.data.call;
    if (event.kind === "mark" && event.data.mark === "call_made") return event.data.call || "";
    return "";
  }
  calls.callOf = callOf;

  /** When an event happened on the browser's clock: its message's send time, else reckoned from the newest state. */
  function atBrowser(event, live) {
    if (live && live.server_ns) return spinfloor.clock.toBrowser(live.server_ns);
    const state = spinfloor.link.state;
    if (live) return spinfloor.now();
    if (!state || !state.time_ns) return spinfloor.now() - 60000;
    return spinfloor.link.stateAtMs - 1000 * (state.time_age_s || 0) - (state.time_ns - event.detected_ns) / 1e6;
  }

  calls.see = function (event, live) {
    if (!worthARow(event)) return;
    const entry = { event: event, atMs: atBrowser(event, live), count: 1 };
    const last = entries[entries.length - 1];
    if (last && event.kind === "call" && last.event.kind === "call" && last.event.data.words === event.data.words && event.time_ns - last.event.time_ns < 10e9) {
      last.count += 1;
      last.event = event;
      last.atMs = entry.atMs;
    } else entries.push(entry);
    if (entries.length > 400) entries.shift();
    const call = callOf(event);
    if (call) {
      if (live) speak(event, call, entry.atMs, live);
      choose();
      calls.band();
    }
    renderLog();
  };

  calls.history = function (events) {
    const newest = events.slice(-400);
    entries = [];
    for (const event of newest) calls.see(event, null);
  };

  function worthARow(event) { return ["call", "mark", "link", "floor.crossed", "spin.started", "spin.ended", "recovered", "recovery.started"].includes(event.kind); }

  function speak(event, call, bornMs, live) {
    const words = event.kind === "call" ? event.data.words : call;
    spinfloor.sound.say({ call: call, words: words, sequence: event.sequence, bornMs: bornMs, receivedMs: live.received_ns ? spinfloor.clock.toBrowser(live.received_ns) : null });
  }

  spinfloor.sound.onreport = function (item, latencyMs, reason) {
    const late = latencyMs !== null && latencyMs > spinfloor.unheard.WITHIN_MS;
    calls.outcome.set(item.sequence, { latencyMs: latencyMs, reason: reason, late: late, call: item.call });
    if (latencyMs !== null) spinfloor.link.send({ type: "sounded", sequence: item.sequence, latency_ms: Math.round(latencyMs * 10) / 10 });
    spinfloor.unheard.see(item, latencyMs, reason);
    calls.band();
    renderLog();
  };

  const OBEYED_BY = { recover: { "recovery.started": "recovery controls are in", "spin.ended": "the rotation has stopped" }, chute: { "spin.ended": "the rotation has stopped" } };
  /** What the aircraft has done about a call since, in words; empty while it still holds. An abandon holds. */
  calls.obeyed = obeyed;
  function obeyed(event) {
    const by = OBEYED_BY[callOf(event)];
    if (!by) return "";
    const done = spinfloor.link.events.filter(function (later) { return later.sequence > event.sequence && by[later.kind]; });
    return done.length ? by[done[done.length - 1].kind] : "";
  }

  /** Turns, states and obeyed calls of a spin before the present one say nothing about it. */
  function ofASpinBefore(event) {
    const state = spinfloor.link.state;
    if (!state || !state.in_spin || !(obeyed(event) || ["status", "turn"].includes(callOf(event)))) return false;
    return spinfloor.link.events.some(function (later) { return later.sequence > event.sequence && later.kind === "spin.started"; });
  }

  /** The highest call of the last six seconds that still holds, else simply the last one. */
  calls.choose = choose;
  function choose() {
    const now = spinfloor.now();
    let best = null;
    for (let i = entries.length - 1; i >= 0; i -= 1) {
      const call = callOf(entries[i].event);
      if (!call) continue;
      if (!best) best = entries[i];
      else if (now - entries[i].atMs < FRESH_MS && spinfloor.sound.RANK[call] > spinfloor.sound.RANK[callOf(best.event)] && !obeyed(entries[i].event)) best = entries[i];
      if (now - entries[i].atMs > FRESH_MS) break;
    }
    calls.shown = best;
  }

  calls.band = function () {
    const band = spinfloor.el("w-call");
    if (!band) return;
    choose();
    const text = spinfloor.text;
    if (calls.shown && ofASpinBefore(calls.shown.event)) calls.shown = null;
    if (!calls.shown) {
      band.dataset.call = "none";
      const again = entries.some(function (entry) { return callOf(entry.event); });
      text("w-call-words", !spinfloor.link.sortie ? "NO SORTIE CHOSEN" : again ? "NO CALL YET IN THIS SPIN" : "NO CALL YET");
      for (const id of ["w-call-reason", "w-call-numbers", "w-call-age", "w-call-heard"]) text(id, "");
      return;
    }
    const event = calls.shown.event;
    const data = event.data;
    const ageS = (spinfloor.now() - calls.shown.atMs) / 1000;
    const words = event.kind === "call" ? data.words : callOf(event) + ", called by " + (data.by || "a person");
    const since = obeyed(event);
    band.dataset.call = since ? "obeyed" : callOf(event);
    band.dataset.fresh = ageS * 1000 < FRESH_MS && !since ? "yes" : "no";
    text("w-call-words", words);
    spinfloor.el("w-call-words").classList.toggle("long", words.length > 16);
    text("w-call-reason", since || reason(event));
    text("w-call-numbers", numbers(data));
    text("w-call-age", spinfloor.panels.age(ageS) + " ago");
    const heard = outcomeOf(event);
    text("w-call-heard", heard.words);
    spinfloor.el("w-call-heard").classList.toggle("missed", heard.missed);
  };

  function numbers(data) {
    const out = [];
    const over = data.call === "status"; // level or data back: no recovery is ahead of it
    const level = data.reason_code === "recovered" && spinfloor.known(data.altitude_left_ft);
    if (level && spinfloor.known(data.floor_ft)) out.push("level at " + spinfloor.panels.whole(data.floor_ft + data.altitude_left_ft) + " ft"); // it is told later and higher
    else if (spinfloor.known(data.altitude_ft)) out.push("at " + spinfloor.panels.whole(data.altitude_ft) + " ft");
    if (level) out.push(margin(data.altitude_left_ft));
    if (!over && spinfloor.known(data.altitude_left_bound_ft)) out.push("cautious altitude left " + spinfloor.panels.whole(data.altitude_left_bound_ft) + " ft");
    if (!over && spinfloor.known(data.altitude_left_ft)) out.push("median " + spinfloor.panels.whole(data.altitude_left_ft) + " ft");
    if (data.estimated) out.push("ESTIMATED");
    return out.join(" \u00b7 ");
  }

  function margin(ft) { return spinfloor.panels.whole(Math.abs(ft)) + " ft " + (ft < 0 ? "BELOW" : "above") + " the recovery floor"; }

  /** Why, where it says more than the words; of degraded data which channels. */
  calls.reason = reason;
  function reason(event) {
    const data = event.data;
    if (data.reason_code === "data degraded") return flagged(event);
    if (event.kind === "call" && data.call === "turn" && spinfloor.known(data.turns)) return spinfloor.panels.fixed(data.turns, 1) + (spinfloor.known(data.planned_turns) ? " of " + String(+data.planned_turns.toFixed(2)) + " planned turns" : " turns so far");
    return data.reason === data.words ? "" : (data.reason || "").replace(/(^|\s)-(?=\d)/g, "$1\u2212");
  }

  /** The channels flagged when the event was told, e.g. "yaw rate stuck". */
  function flagged(event) {
    const on = new Set();
    for (const before of spinfloor.link.events) {
      if (before.sequence >= event.sequence) break;
      if (before.kind !== "quality") continue;
      const words = spinfloor.panels.plain(before.data.channel) + " " + spinfloor.panels.plain(before.data.flag);
      if (before.data.state === "on") on.add(words);
      else on.delete(words);
    }
    return [...on].join(", ");
  }

  function outcomeOf(event) {
    const outcome = calls.outcome.get(event.sequence);
    if (!outcome) return { words: "", missed: false };
    const important = ["caution"].concat(WARNINGS).includes(outcome.call);
    if (outcome.latencyMs === null) return { words: "NOT HEARD: " + outcome.reason, missed: important };
    if (outcome.late) return { words: "heard late, " + Math.round(outcome.latencyMs) + " ms", missed: important };
    return { words: outcome.reason || "heard in " + Math.round(outcome.latencyMs) + " ms", missed: false };
  }

  function describe(event) {
    const data = event.data;
    const whole = spinfloor.panels.whole;
    switch (event.kind) {
      case "call": return [data.words, data.call === "turn" ? "" : reason(event)];
      case "mark": if (data.mark === "floors") return ["floors set", data.by + ": " + spinfloor.floors.words(data.floors)];
        return [callOf(event) ? callOf(event) + " called" : String(data.mark || "mark").replace(/_/g, " "), [data.by, data.text || data.card || (data.mark === "acknowledge" && data.call)].filter(Boolean).join(": ")];
      case "link": return ["", data.state === "restored" ? "data back" : "data " + (data.state || "changed")];
      case "floor.crossed": return ["", (data.floor || "a") + " floor crossed"];
      case "spin.started": return ["", "spin " + [data.orientation, data.direction].filter(Boolean).join(" ") + " from " + whole(data.altitude_ft) + " ft"];
      case "spin.ended": return ["", "spin ended after " + spinfloor.panels.fixed(data.turns, 1) + " turns"];
      case "recovery.started": return ["", "recovery controls at " + spinfloor.panels.fixed(data.turns, 1) + " turns"];
      default: return ["", "level, margin " + whole(data.margin_ft) + " ft"];
    }
  }

  let pending = false;
  function renderLog() {
    if (pending) return;
    pending = true;
    window.setTimeout(function () { pending = false; writeLog(); }, 60);
  }
  calls.render = renderLog;

  function writeLog() {
    const list = spinfloor.el("w-log");
    if (!list) return;
    spinfloor.unheard.button();
    const rows = spinfloor.unheard.only ? spinfloor.unheard.rows() : entries.slice(-ROWS).reverse().map(row);
    list.replaceChildren.apply(list, rows);
    if (!rows.length) list.append(make("li", "alone", "Nothing called or marked yet."));
  }

  function row(entry) {
    const event = entry.event;
    const item = make("li", callOf(event), "");
    const at = (event.kind === "link" ? event.time_ns : event.detected_ns) / 1e6;
    const time = spinfloor.moment(at, event.time_ns);
    const words = make("span", "", "");
    const said = describe(event);
    if (said[0]) words.append(make("b", "", said[0] + (entry.count > 1 ? " \u00d7" + entry.count : "")), " ");
    words.append(make("span", said[0] ? "soft" : "", said[1]));
    words.title = said[1];
    const heard = outcomeOf(event);
    const short = heard.words.replace("heard in ", "").replace("heard late, ", "late ").replace(/^NOT HEARD: .*/, "NOT HEARD");
    const outcome = make("span", heard.missed ? "missed" : "soft", short);
    outcome.title = heard.words;
    item.append(time, words, outcome);
    return item;
  }
})();
