/* Writes the glance cells, the health row and the alerts from the newest state. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const text = spinfloor.text;
  const el = spinfloor.el;
  const known = spinfloor.known;
  const PHASES = {
    unknown: "not known", flight: "flight", departure: "departure", incipient: "incipient spin", developed: "developed spin",
    recovering: "recovering", dive: "dive", spiral: "spiral, no spin", rolling: "rolling, no spin", tumble: "tumble",
  };
  const QUIET_MS = 1000; // the service speaks about 20 times a second; a second of silence is a lost connection
  const LOW_VOLUME = 0.6; // own choice: below it the button says LOW
  const OLD_S = 2; // frames older than this are not live whatever the link says

  const panels = (spinfloor.panels = { phases: PHASES });

  const grouped = new Intl.NumberFormat("en-GB", { maximumFractionDigits: 0 });
  /** A number with thousands separated, or a dash. */
  panels.whole = function (x) { return known(x) ? grouped.format(Math.round(x) || 0).replace("-", "\u2212") : "-"; };
  panels.fixed = function (x, digits) { return known(x) ? x.toFixed(digits).replace("-", "\u2212") : "-"; };
  /** "0.3 s", "12 s", "3 min 05 s". */
  panels.age = function (seconds) {
    if (!known(seconds)) return "-";
    if (seconds < 10) return Math.max(0, seconds).toFixed(1) + " s";
    if (seconds < 100) return Math.round(seconds) + " s";
    return Math.floor(seconds / 60) + " min " + String(Math.floor(seconds % 60)).padStart(2, "0") + " s";
  };

  /** What is known about how far the picture may be believed: the one place that decides it. */
  panels.trust = function () {
    const link = spinfloor.link;
    const now = spinfloor.now();
    const state = link.state;
    const silent = !link.open || now - link.lastMessageMs > QUIET_MS;
    const since = Math.max(0, now - link.stateAtMs) / 1000;
    const carried = !state || !known(state.time_age_s) || state.time_age_s + since < OLD_S; // once level nothing is carried on
    const trust = {
      silent: silent, lost: silent && Boolean(link.lostMs || link.stateAtMs), none: !state || state.link === "none yet",
      estimated: Boolean(state && state.estimated && carried), ageS: null, lateS: (state && state.data_late_s) || 0, live: false,
    };
    if (state && known(state.data_age_s)) trust.ageS = state.data_age_s + since;
    const fresh = trust.ageS !== null && trust.ageS < OLD_S && state.link === "ok";
    trust.live = !silent && !trust.none && (fresh || trust.estimated);
    return trust;
  };

  panels.update = function () {
    const page = el("page");
    if (!page || !page.classList.contains("watch")) return;
    const trust = panels.trust();
    const state = spinfloor.link.state;
    page.dataset.live = trust.live ? "yes" : "no";
    page.dataset.origin = trust.none && origin() === "live" ? "untold" : origin(); // green is for data that comes
    health(state, trust);
    glance(state || {}, trust);
    tags(trust);
    panels.alerts(trust);
  };

  function origin() {
    const link = spinfloor.link;
    const told = (link.state && link.state.origin) || (link.info && link.info.origin);
    return link.sortie ? told || "untold" : "none";
  }

  const CONNECTING = "CONNECTING";
  const HALTS = { ended: "REPLAY ENDED", paused: "REPLAY PAUSED" };
  /** Why a replay sends no frames, in words; empty when it does, or for no replay. */
  function halted() {
    const replay = spinfloor.replay && spinfloor.replay.now;
    return (replay && replay.sortie === spinfloor.link.sortie && HALTS[replay.state]) || "";
  }

  const ORIGINS = { live: "LIVE", replay: "REPLAY, NOT LIVE", rehearsal: "REHEARSAL, NOT LIVE", untold: "SOURCE NOT TOLD", none: "NO SORTIE" };

  function health(state, trust) {
    const lost = Boolean(state) && state.link === "lost";
    const named = origin() !== "none";
    if (spinfloor.link.missing) {
      text("w-origin", "NO SUCH SORTIE");
      tone("w-origin", "caution");
      for (const id of ["w-age", "w-link", "w-evidence", "w-quality"]) text(id, "-");
      for (const id of ["w-age-box", "w-link-box", "w-quality-box"]) tone(id, "");
      return soundButton();
    }
    const words = !named || (trust.none && !trust.silent) ? "" : trust.lost ? "SERVER LOST" : trust.silent ? CONNECTING : lost ? "DATA LOST" : trust.live ? "" : halted() || (trust.lateS >= OLD_S ? "LATE DATA" : "OLD DATA");
    text("w-origin", words || (named && trust.none ? "NO DATA YET" : ORIGINS[origin()]));
    tone("w-origin", !words || words === halted() || words === CONNECTING ? "" : trust.lost ? "warning" : "caution");
    text("w-age", trust.none ? "no data" : panels.age(trust.ageS));
    const late = state && trust.ageS > (state.data_age_limit_s || 0.5);
    tone("w-age-box", trust.none ? "" : trust.lost || (late && !halted()) ? "caution" : "");
    text("w-link", !spinfloor.link.sortie ? "-" : trust.lost ? "server lost" : trust.silent ? "connecting" : !state ? "-" : { ok: "ok", lost: "DATA LOST", "none yet": "no data yet" }[state.link] || state.link);
    tone("w-link-box", trust.lost && spinfloor.link.sortie ? "warning" : state && state.link === "lost" ? "caution" : "");
    text("w-evidence", (state && state.evidence) || "-");
    const flags = ((state && state.quality) || []).map(function (q) { return plain(q.channel) + " " + plain(q.flag); });
    text("w-quality", state && !trust.none ? (flags.length ? flags.join(", ") : state.degraded ? "degraded" : "good") : "-");
    tone("w-quality-box", flags.length || (state && state.degraded) ? "caution" : "");
    el("w-quality-box").title = flags.join("\n");
    const apart = clockApart(state, trust);
    el("w-clock-box").hidden = !apart;
    text("w-clock", apart);
    return soundButton();
  }

  const APART_S = 2; // own choice: times in the log and on a voice recorder are then told apart
  /** How far the source's clock is from the service's, in words; empty for next to nothing, for replays and before the first frame. */
  function clockApart(state, trust) {
    if (!state || trust.none || origin() !== "live" || !state.server_ns || !known(state.time_age_s)) return "";
    const behind = (state.server_ns - state.time_ns) / 1e9 - state.time_age_s - trust.lateS; // frames that come late are told as late
    const far = Math.abs(behind);
    if (far < APART_S) return "";
    const words = far < 3600 ? panels.age(far) : far < 48 * 3600 ? panels.fixed(far / 3600, 1) + " h" : panels.whole(far / 86400) + " days";
    return words + (behind > 0 ? " behind" : " ahead");
  }

  /** A name of the contract without its unit, in words: "yaw_rate_dps" is "yaw rate". */
  const plain = panels.plain = function (name) { return name.replace(/_(ns|dps|ft|deg|kt|g|pct)$/, "").replace(/_/g, " "); };

  function tone(id, name) {
    const node = el(id);
    node.classList.toggle("caution", name === "caution");
    node.classList.toggle("warning", name === "warning");
  }

  function soundButton() {
    const armed = spinfloor.sound.armed();
    el("w-sound").dataset.sound = armed ? "armed" : "off";
    const volume = spinfloor.sound.volume;
    text("w-sound-words", armed ? "SOUND ARMED " + Math.round(100 * volume) + " %" + (volume < LOW_VOLUME ? ", LOW" : "") : "SOUND NOT ARMED: press or click");
    const level = el("w-level");
    if (level) level.value = armed ? spinfloor.sound.peak() : 0;
  }

  function glance(state, trust) {
    const phase = trust.none ? "no data yet" : PHASES[state.phase] || state.phase;
    text("w-phase", phase);
    el("w-phase").classList.toggle("long", phase.length > 11);
    const kind = [state.orientation, state.direction].filter(Boolean).join(" ");
    const over = !state.in_spin; // the figures of the last spin stay, grey and said to be of the last one
    text("w-kind", !kind ? (trust.none ? "" : "no spin so far") : over ? "last: " + kind : kind);
    const controlsIn = state.phase === "recovering"; // mode and swing are of the time before the controls
    text("w-mode", over ? "" : controlsIn ? "still spinning" : state.mode || "");
    el("w-oscillatory").hidden = over || controlsIn || !state.oscillatory;
    for (const id of ["w-state-cell", "w-turns-cell"]) el(id).classList.toggle("over", over);
    text("w-turns-head", over && known(state.turns) ? "Turns of the last spin" : "Turns");
    turns(state);
    const coming = panels.coming(state);
    el("w-left-cell").classList.toggle("over", !coming);
    left("bound", coming ? state : {});
    left("median", coming ? state : {});
    const facts = [];
    if (known(state.altitude_ft)) facts.push("now " + panels.whole(state.altitude_ft) + " ft");
    if (known(state.sink_fpm)) facts.push((state.sink_fpm < 0 ? "climbing " : "sinking ") + panels.whole(Math.abs(state.sink_fpm)) + " ft/min");
    if (state.power_on) facts.push("POWER ON");
    text("w-left-note", facts.join(" \u00b7 "));
  }

  function turns(state) {
    const spun = known(state.turns);
    text("w-turns", spun ? (state.turns_lower_bound ? "\u2265" : "") + panels.fixed(state.turns, 1) : "-");
    el("w-turns").classList.toggle("long", el("w-turns").textContent.length > 4);
    const plan = known(state.planned_turns);
    text("w-planned", plan ? "of " + String(+state.planned_turns.toFixed(2)) : "");
    const unlike = plan ? unlikeTheCard(state) : "";
    el("w-planned-words").classList.toggle("stacked", unlike !== "");
    text("w-planned-words", plan ? "planned" + unlike : !spun || !state.in_spin ? "" : state.card ? "not on the card" : "no card");
    const span = Math.max(plan ? state.planned_turns + 1 : 4, spun ? Math.ceil(state.turns + 0.5) : 0);
    el("w-turn-fill").style.width = (spun ? Math.min(100, (100 * state.turns) / span) : 0) + "%";
    marks(span, plan ? state.planned_turns : null);
    const facts = [];
    const each = [];
    if (known(state.seconds_per_turn)) each.push(panels.fixed(state.seconds_per_turn, 1) + " s");
    if (known(state.loss_per_turn_ft)) each.push(panels.whole(state.loss_per_turn_ft) + " ft");
    if (each.length) facts.push(each.join(" and ") + " per turn");
    if (state.recovery_started) facts.push("recovery " + panels.fixed(state.recovery_turns, 1));
    if (state.turns_sd > 0.15) facts.unshift("\u00b1 " + panels.fixed(state.turns_sd, 1));
    text("w-turn-facts", facts.join(" \u00b7 "));
  }

  /** " inverted" or else " left": what the card says where the spin is another one. */
  function unlikeTheCard(state) {
    const plan = spinfloor.link.info && spinfloor.link.info.plan;
    const card = plan && state.in_spin && plan.cards.find(function (each) { return each.id === state.card; });
    if (!card) return "";
    const unlike = [["orientation", card.orientation || "upright"], ["direction", card.direction]].filter(function (part) { return state[part[0]] && state[part[0]] !== part[1]; });
    return unlike.length ? " " + unlike[0][1] : "";
  }

  /** Whether altitude left has a meaning: in a spin and until level after it. */
  panels.coming = function (state) {
    return Boolean(state.in_spin || state.phase === "recovering" || (known(state.turns) && (state.phase === "dive" || notLevelSince(state))));
  };

  /** A spin of the watched sortie has ended, and neither level flight nor plain flight has been told since: it may depart or roll on its way down. */
  function notLevelSince(state) {
    if (state !== spinfloor.link.state || state.phase === "flight") return false;
    const events = spinfloor.link.events;
    for (let i = events.length - 1; i >= 0; i -= 1) {
      if (events[i].kind === "spin.ended") return true;
      if (events[i].kind === "recovered" || (events[i].kind === "phase" && events[i].data.to === "flight")) return false;
    }
    return false;
  }

  let drawnMarks = "";
  function marks(span, planned) {
    const box = el("w-turn-marks");
    const wanted = span + "/" + planned;
    if (drawnMarks === wanted && box.childElementCount) return;
    drawnMarks = wanted;
    box.replaceChildren();
    for (let turn = 1; turn < span; turn += 1) box.append(mark(turn / span, ""));
    if (planned !== null) box.append(mark(planned / span, "plan"));
  }
  function mark(fraction, name) {
    const node = document.createElement("i");
    node.style.left = "calc(" + 100 * fraction + "% - 1px)";
    node.className = name;
    return node;
  }

  function left(row, state) {
    const of = function (triple) { return triple ? triple[row] : null; };
    cell("w-left-" + row + "-ft", panels.whole(of(state.altitude_left_ft)), of(state.altitude_left_ft));
    cell("w-left-" + row + "-s", capped(of(state.seconds_left), 0, 99), of(state.seconds_left));
    cell("w-left-" + row + "-turns", capped(of(state.turns_left), 1, 99), of(state.turns_left));
  }
  function capped(x, digits, most) { return x > most ? ">" + most : panels.fixed(x, digits); }
  function cell(id, words, value) {
    text(id, words);
    el(id).classList.toggle("gone", known(value) && value <= 0);
    el(id).classList.toggle("long", words.length > 6);
  }

  /** Grey figures carry their age; estimated ones say so. */
  function tags(trust) {
    const old = !trust.live && !trust.none;
    for (const tag of document.querySelectorAll(".watch .age-tag")) {
      tag.hidden = !old;
      if (old) text(tag, "OLD: " + panels.age(trust.ageS));
    }
    const state = spinfloor.link.state;
    const carried = state && state.link !== "ok" ? "#w-turns-cell.over, #w-left-cell.over" : "#w-state-cell, #w-turns-cell, #w-left-cell.over"; // frames come: only heights are carried
    for (const tag of document.querySelectorAll(".glance .estimate-tag")) {
      tag.hidden = !(trust.estimated && trust.live) || Boolean(tag.closest(carried)); // a spin that is over was counted
      text(tag, "ESTIMATED");
    }
  }

  /** The bar under the header, on every page while a sortie is watched. */
  panels.alerts = function (trust) {
    const link = spinfloor.link;
    const warnings = [];
    const cautions = [];
    if (link.missing) cautions.push("NO SUCH SORTIE: " + link.missing + ". Choose one of those above.");
    else if (link.sortie && trust.lost) warnings.push("SERVER CONNECTION LOST: no calls will come; reconnecting by itself.");
    const stands = trust.silent ? "" : spinfloor.readiness.trouble();
    if (link.sortie && stands) warnings.push(stands);
    const watching = Boolean(el("w-sound")); // the other pages have no key for the sound
    if (link.sortie && !spinfloor.sound.armed() && (watching || trust.live)) {
      const elsewhere = link.state && link.state.sound_armed > 0;
      cautions.push("SOUND NOT ARMED" + (elsewhere ? " on this screen" : "") + ": calls are silent here. " + (watching ? "Press S or click." : "Arm it on Watch."));
    }
    if (link.state && link.state.link === "lost" && !trust.silent && (watching || trust.estimated)) cautions.push(trust.estimated ? "DATA LOST: the figures are estimated." : "DATA LOST.");
    if (!trust.silent && !trust.none && link.state.link === "ok" && link.state.estimated) cautions.push("NO ALTITUDE THAT CAN BE BELIEVED: heights are estimated.");
    if (!trust.silent && !trust.none && link.state.link === "ok" && trust.lateS > (link.state.data_age_limit_s || 0.5)) cautions.push("DATA COMES " + panels.age(trust.lateS) + " LATE: so do the calls.");
    const anywhere = trust.silent ? "" : spinfloor.unheard.anywhere();
    if (panels.unheard || anywhere) cautions.push(panels.unheard || anywhere);
    const bar = el("shell-alert");
    bar.hidden = !(warnings.length || cautions.length);
    bar.classList.toggle("caution", !warnings.length);
    const words = warnings.concat(cautions).join("  ");
    text(bar, words);
    bar.title = words;
  };
  panels.unheard = "";
})();
