/* Calls that did not sound here within 500 ms: counted on the log's head, listed by one key, told in the alert bar. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const WITHIN_MS = 500;
  const KEPT = 200;
  const make = spinfloor.make;
  const unheard = (spinfloor.unheard = { entries: [], only: false, WITHIN_MS: WITHIN_MS });

  function weighty(call) { return spinfloor.sound.RANK[call] >= spinfloor.sound.RANK.caution; }

  unheard.forget = function () { unheard.entries = []; unheard.only = false; spinfloor.panels.unheard = ""; };

  function soundedElsewhere() { return Boolean(spinfloor.link.state && spinfloor.link.state.sound_armed > 0); }

  /** The outcome of a call on this screen; in time and heard, it takes back the alert of the one before. */
  unheard.see = function (item, latencyMs, reason) {
    const missed = latencyMs === null || latencyMs > WITHIN_MS;
    const why = latencyMs === null ? reason : "after " + Math.round(latencyMs) + " ms";
    if (missed) {
      unheard.entries.push({ sequence: item.sequence, call: item.call, words: item.words, atMs: item.bornMs, why: why });
      if (unheard.entries.length > KEPT) unheard.entries.shift();
    }
    if (!weighty(item.call)) return;
    const told = reason === "cut off by a higher call" || (!spinfloor.sound.armed() && soundedElsewhere()); // that this screen is silent is told already
    if (missed && !told) spinfloor.panels.unheard = "CALL NOT HEARD IN TIME: " + item.words + " (" + why + ").";
    else if (!missed) spinfloor.panels.unheard = "";
  };

  const TOLD_NS = 3e9; // by then the service lists a call that no screen has sounded
  const ALERT_S = 60; // afterwards it is for the list and for Debrief

  function ageS(call, state) {
    return (state.time_ns - call.detected_ns) / 1e9 + (state.time_age_s || 0) + (spinfloor.now() - spinfloor.link.stateAtMs) / 1000;
  }

  /** A call of the same rank or a higher one has sounded since: what this one said has been said. */
  function overtaken(call, all, silent, nowNs) {
    return all.some(function (later) {
      return later.sequence > call.sequence && spinfloor.sound.RANK[later.data.call] >= spinfloor.sound.RANK[call.data.call] && !silent.includes(later.sequence) && nowNs - later.detected_ns > TOLD_NS;
    });
  }

  /** Words of the calls that no screen at all has reported as sounded, from the service's list. */
  unheard.anywhere = function () {
    const state = spinfloor.link.state;
    const silent = (state && state.calls_not_sounded) || [];
    if (!silent.length) return "";
    const all = spinfloor.link.events.filter(function (event) { return event.kind === "call"; });
    const waiting = silent.filter(function (sequence) {
      const call = all.find(function (event) { return event.sequence === sequence; });
      return !call || (ageS(call, state) < ALERT_S && !overtaken(call, all, silent, state.time_ns));
    });
    if (!waiting.length) return "";
    const words = all.filter(function (event) { return waiting.includes(event.sequence); }).map(function (event) { return event.data.words; });
    return "NO SCREEN HAS SOUNDED: " + ([...new Set(words)].join(", ") || waiting.length + " calls") + ".";
  };

  unheard.button = function () {
    const button = spinfloor.el("w-unheard");
    if (!button) return;
    const count = unheard.entries.length;
    if (!count) unheard.only = false;
    button.hidden = !count;
    button.classList.toggle("caution", unheard.entries.some(function (entry) { return weighty(entry.call); }));
    spinfloor.text(button.firstElementChild, unheard.only ? "Show all" : count + " not heard in " + WITHIN_MS / 1000 + " s");
  };

  unheard.toggle = function () { unheard.only = !unheard.only; unheard.button(); spinfloor.calls.render(); };

  /** Rows of the log when only these are asked for, newest first. */
  unheard.rows = function () {
    return unheard.entries.slice().reverse().map(function (entry) {
      const item = make("li", entry.call, "");
      const words = make("span", "", "");
      words.append(make("b", "", entry.call === "turn" ? "turn " + entry.words : entry.words));
      item.append(spinfloor.moment(entry.atMs, 0), words, make("span", weighty(entry.call) ? "missed" : "soft", entry.why));
      item.title = entry.words + ": " + entry.why;
      return item;
    });
  };
})();
