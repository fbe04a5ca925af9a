/* All sorties in one row: kind, turns, altitude left and highest call of each; choosing one watches it. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const overview = (spinfloor.overview = { sorties: [], failed: "", fetchedMs: 0 });
  const MOST = 24;
  const MOST_IN_ONE = 3; // shown while none gets data; one that does says more and takes the room of another, two get a row of their own
  const OLD_MS = 2500; // asked for once a second
  let polling = false;

  overview.poll = async function () {
    if (polling) return draw(); // it may hang: what was told grows old meanwhile
    polling = true;
    try {
      const body = await spinfloor.link.json(spinfloor.base() + "/v1/sorties?limit=60");
      const playing = new Set(spinfloor.replay.all.filter(function (r) { return r.state !== "ended"; }).map(function (r) { return r.sortie; }));
      overview.sorties = body.sorties.filter(function (s) {
        return s.origin !== "replay" || playing.has(s.id) || s.id === spinfloor.link.sortie; // ended replays are for Debrief
      }).slice(0, MOST);
      overview.fetchedMs = spinfloor.now();
      overview.failed = "";
      choose();
    } catch (error) {
      overview.failed = error.message;
    } finally {
      polling = false;
    }
    draw();
  };

  function asked() { return new URLSearchParams(window.location.search).get("sortie") || ""; }

  /** The address wins; else the sortie of before; else the newest one that gets data; else the newest. */
  function choose() {
    const wanted = asked();
    if (wanted) return spinfloor.link.watch(wanted);
    if (spinfloor.link.sortie) return undefined;
    const kept = sessionStorage.getItem("spinfloor-sortie");
    const alive = overview.sorties.find(function (s) { return s.state && s.state.link === "ok"; });
    const pick = overview.sorties.find(function (s) { return s.id === kept; }) || alive || overview.sorties[0];
    return pick ? spinfloor.link.watch(pick.id) : undefined;
  }
  overview.follow = function () { if (asked() && asked() !== spinfloor.link.sortie) spinfloor.link.watch(asked()); };

  function pick(id) {
    window.history.pushState({}, "", "/?sortie=" + encodeURIComponent(id));
    spinfloor.link.watch(id);
    draw();
  }
  /** Go over to another sortie without a step in the history: a replay went on under a new name. */
  overview.show = function (id) {
    if (asked()) window.history.replaceState({}, "", "/?sortie=" + encodeURIComponent(id));
    spinfloor.link.watch(id, true);
    draw();
  };

  function draw() {
    const nav = spinfloor.el("w-sorties");
    if (!nav) return;
    const old = overview.failed !== "" || (overview.fetchedMs > 0 && spinfloor.now() - overview.fetchedMs > OLD_MS);
    if (!overview.sorties.length) {
      nav.replaceChildren(spinfloor.make("span", "chip", old ? "Sorties unknown: " + overview.failed : "No sortie yet: create one on Plan, start a replay on Rehearse, or send frames."));
      return;
    }
    const shown = chosen();
    const others = overview.sorties.filter(function (sortie) { return !shown.includes(sortie); });
    nav.classList.toggle("many", shown.filter(alive).length > 1);
    const focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.sortie : "";
    if (document.activeElement && document.activeElement.id === "w-other-sorties") return; // a list that is open stays
    nav.replaceChildren.apply(nav, shown.map(function (sortie) { return chip(sortie, old); }));
    if (others.length) nav.append(list(others));
    const again = focused && nav.querySelector('[data-sortie="' + CSS.escape(focused) + '"]');
    if (again) again.focus();
  }

  function alive(sortie) {
    const state = sortie.state;
    return Boolean(state && (state.link === "ok" || (state.in_spin && carriedOn(state))));
  }

  /** A spin whose data is lost goes on as an estimate, down to the ground. */
  const STOOD_S = 10;
  function carriedOn(state) { return !(state.time_age_s > STOOD_S); }

  /** Those that get data or spin, and the one watched; while there are few, the newest others too. */
  function chosen() {
    const wanted = overview.sorties.filter(function (sortie) { return alive(sortie) || sortie.id === spinfloor.link.sortie; });
    const rest = overview.sorties.filter(function (sortie) { return !wanted.includes(sortie); });
    const room = MOST_IN_ONE - (wanted.some(alive) ? 1 : 0);
    const all = wanted.concat(rest.slice(0, Math.max(0, room - wanted.length)));
    return overview.sorties.filter(function (sortie) { return all.includes(sortie); });
  }

  function list(others) {
    const select = document.createElement("select");
    select.id = "w-other-sorties";
    select.setAttribute("aria-label", "Other sorties");
    select.append(Object.assign(spinfloor.make("option", "", others.length + (others.length === 1 ? " other" : " others")), { value: "" }));
    for (const sortie of others) select.append(Object.assign(spinfloor.make("option", "", (sortie.title || sortie.id) + " (" + sortie.id + ")"), { value: sortie.id }));
    select.addEventListener("change", function () { const id = select.value; select.blur(); if (id) pick(id); });
    return select;
  }

  function chip(sortie, old) {
    const button = spinfloor.make("button", "chip" + (old ? " old" : "") + (alive(sortie) ? " alive" : ""), "");
    button.type = "button";
    button.dataset.sortie = sortie.id;
    if (sortie.id === spinfloor.link.sortie) button.setAttribute("aria-current", "true");
    button.append(spinfloor.make("b", "", sortie.title || sortie.id));
    const now = spinfloor.make("span", "chip-now", "");
    if (sortie.origin && sortie.origin !== "live") now.append(spinfloor.make("span", "soft", sortie.origin));
    for (const part of describe(sortie.state, old)) now.append(spinfloor.make("span", part[1], part[0]));
    button.append(now);
    button.title = (sortie.title || sortie.id) + ": " + now.textContent;
    button.addEventListener("click", function () { pick(sortie.id); });
    return button;
  }

  /** A recover whose controls are in, a chute whose rotation has stopped: no longer warnings (as in the band of calls). */
  function obeyed(call, state) { return (call === "recover" && (state.recovery_started || !state.in_spin)) || (call === "chute" && !state.in_spin); }

  overview.alive = alive;
  overview.describe = describe;
  function describe(state, old) {
    const panels = spinfloor.panels;
    if (!state) return [["not live", "soft"]]; // nothing has been asked of it since the service started
    if (state.link === "none yet") return [["no data yet", "soft"]];
    if (old) return [["old: " + panels.age((spinfloor.now() - overview.fetchedMs) / 1000), ""]];
    if (state.link === "lost" && !(state.in_spin && carriedOn(state))) return [["data lost", "soft"]];
    const out = []; // what matters most first: a narrow chip cuts off its end
    const call = state.last_call;
    if (call && call.data.call !== "turn" && state.time_ns - call.detected_ns < 6e9 && !obeyed(call.data.call, state)) { // turns are told below
      const rank = spinfloor.sound.RANK[call.data.call];
      out.push([call.data.words, rank >= 3 ? "call-warning" : rank === 2 ? "call-caution" : "soft"]);
    }
    const bound = state.altitude_left_ft && state.altitude_left_ft.bound;
    if (typeof bound === "number" && panels.coming(state)) out.push([panels.whole(bound) + " ft left", bound <= 0 ? "call-warning" : ""]);
    if (state.estimated) out.push(["estimated", "call-caution"]);
    if (state.in_spin) out.push([panels.fixed(state.turns, 1) + " turns", ""]);
    out.push([panels.phases[state.phase] || state.phase, ""]);
    return out;
  }
})();
