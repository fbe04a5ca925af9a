/* Joins the parts: events and states as they come, figures and strips 25 times a second. */
(function () {
  "use strict";
  const spinfloor = window.spinfloor;
  const link = spinfloor.link;
  const marksOfTime = (spinfloor.timings = []); // [receivedMs, writtenMs] of states that told when their frame came in

  /** After every gap the strips get the minute before from the store; a minute at 25 points a second is enough to see. */
  let filled = false;
  link.on("lost", function () { filled = false; });
  async function fillStrips(state) {
    filled = true;
    try {
      const body = await link.json(link.path("/frames?format=json&max_points=1500&from=" + Math.max(0, state.time_ns - 60e9)));
      if (body.columns && body.columns.time_ns && body.columns.time_ns.length) spinfloor.strips.backfill(body.columns);
    } catch (error) {
      spinfloor.text("w-mark-answer", "The minute before could not be fetched: " + error.message);
    }
  }

  link.on("sortie", function () {
    filled = false;
    spinfloor.calls.forget();
    spinfloor.height.forget();
    spinfloor.strips.forget();
  });
  link.on("run", function () { spinfloor.calls.forget(); spinfloor.height.forget(); });
  link.on("strip", function (strip) { spinfloor.strips.see(strip); });
  link.on("state", function (state) {
    spinfloor.height.see(state);
    if (!filled && state.time_ns) fillStrips(state);
    if (!onWatch()) return;
    spinfloor.panels.update();
    updatedMs = spinfloor.now();
    if (state.received_ns && state.received_ns !== lastReceivedNs) {
      lastReceivedNs = state.received_ns; // a state without a newer frame says nothing about delay
      marksOfTime.push([spinfloor.clock.toBrowser(state.received_ns), spinfloor.now()]);
      if (marksOfTime.length > 5000) marksOfTime.shift();
    }
  });
  link.on("event", function (taken) {
    spinfloor.calls.see(taken.event, taken.live);
    spinfloor.height.seeEvent(taken.event);
  });
  link.on("history", function (events) {
    spinfloor.calls.history(events);
    for (const event of events) spinfloor.height.seeEvent(event);
  });
  link.on("trouble", function (words) { spinfloor.keys.answer(words, true); });
  let unfetched = "";
  link.on("unfetched", function (words) { unfetched = words; spinfloor.text("w-mark-answer", words); });
  link.on("fetched", function () { // what could not be fetched has been; a refusal stays to be read
    const node = spinfloor.el("w-mark-answer");
    if (node && unfetched && node.textContent === unfetched) node.textContent = "";
    unfetched = "";
  });
  spinfloor.sound.onchange = function () { link.tellSound(); };

  let lastReceivedNs = 0;
  let updatedMs = 0;
  function onWatch() {
    const page = spinfloor.el("page");
    return Boolean(page && page.classList.contains("watch"));
  }

  let beats = 0;
  window.setInterval(function () {
    if (!spinfloor.el("shell")) return;
    beats += 1;
    if (onWatch()) watchBeat();
    else if (beats % 10 === 0) elsewhere();
  }, 40);

  /* Calls come before pictures: when the browser is behind, up to four of five redraws are left out. */
  const BEHIND_MS = 25;
  let lastBeat = 0;
  let leftOut = 0;
  function behind() {
    const now = performance.now();
    const late = now - lastBeat > 40 + BEHIND_MS;
    lastBeat = now;
    leftOut = late && leftOut < 4 ? leftOut + 1 : 0;
    return leftOut > 0;
  }

  function watchBeat() {
    if (!behind()) {
      spinfloor.strips.draw();
      if (beats % 2 === 0) spinfloor.height.draw();
    }
    if (beats % 3 !== 0) return;
    spinfloor.text("shell-watch", "");
    spinfloor.keys.fill();
    spinfloor.overview.follow();
    if (spinfloor.now() - updatedMs > 100) spinfloor.panels.update(); // ages go on growing when no state comes
    spinfloor.keys.update();
    spinfloor.calls.band();
    const log = spinfloor.el("w-log");
    if (log && !log.childElementCount) spinfloor.calls.render();
  }

  /** Away from Watch the header keeps saying what the watched sortie does; link and sound go on. */
  function elsewhere() {
    const box = spinfloor.el("shell-watch");
    if (!link.sortie && sessionStorage.getItem("spinfloor-sortie")) link.watch(sessionStorage.getItem("spinfloor-sortie"));
    spinfloor.panels.alerts(spinfloor.panels.trust());
    if (!link.sortie) return;
    const trust = spinfloor.panels.trust();
    const state = link.state;
    const words = trust.lost ? "server lost" : trust.silent ? "connecting" : trust.none ? "no data yet" : !trust.live ? "data " + spinfloor.panels.age(trust.ageS) + " old" : spinfloor.panels.phases[state.phase] + (state.in_spin ? ", " + spinfloor.panels.fixed(state.turns, 1) + " turns" : "");
    spinfloor.text(box, "Watching " + ((link.info && link.info.title) || link.sortie) + ": " + words);
  }

  window.setInterval(function () {
    if (!onWatch() || spinfloor.session.needed) return;
    spinfloor.overview.poll();
    spinfloor.replay.poll();
  }, 1000);
  /* The clips are fetched where they will be wanted: on Watch. Other pages would only wait for them. */
  const waiting = window.setInterval(function () {
    if (!onWatch()) return;
    window.clearInterval(waiting);
    spinfloor.clips.load().catch(function () { /* said on the sound button */ });
  }, 50);
})();
