/* The bar of a replay: pause, speed, seek; follows the replay when going back begins its sortie anew. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const SPEEDS = [0.5, 1, 2, 5, 10];
  const STEP_S = 10;
  const replay = (spinfloor.replay = { now: null, all: [] });
  let polling = false;

  function url(rest) { return spinfloor.base() + "/v1/replays" + (rest || ""); }

  replay.poll = async function () {
    if (polling) return;
    polling = true;
    try {
      replay.all = (await spinfloor.link.json(url())).replays;
      take(replay.all.find(function (r) { return r.sortie === spinfloor.link.sortie; }) || followed());
    } catch (error) {
      replay.now = null;
    } finally {
      polling = false;
    }
    draw();
  };

  /** The replay we watched a moment ago, under its new sortie. */
  function followed() {
    const before = replay.now;
    const same = before && spinfloor.link.sortie === before.sortie && replay.all.find(function (r) { return r.id === before.id; });
    if (same) spinfloor.overview.show(same.sortie);
    return same || null;
  }
  function take(found) { replay.now = found || null; }

  async function change(patch) {
    if (!replay.now || spinfloor.keys.refused()) return draw();
    try {
      take(await spinfloor.link.json(url("/" + replay.now.id), { method: "PATCH", headers: { "content-type": "application/json" }, body: JSON.stringify(patch) }));
      if (replay.now.sortie !== spinfloor.link.sortie) spinfloor.overview.show(replay.now.sortie);
    } catch (error) {
      spinfloor.text("w-mark-answer", "Replay not changed: " + error.message);
    }
    return draw();
  }

  replay.toggle = function () { if (replay.now) change({ paused: replay.now.state === "playing" }); };
  function seek(to) { change({ position_s: Math.min(Math.max(0, to), replay.now.length_s) }); }

  function clock(seconds) { return Math.floor(seconds / 60) + ":" + String(Math.floor(seconds % 60)).padStart(2, "0"); }

  function fill(bar) {
    const make = spinfloor.make;
    const button = function (words, id, action, key) {
      const node = make("button", "action", words);
      node.type = "button";
      node.id = id;
      if (key) { node.dataset.key = key.toLowerCase(); node.append(make("kbd", "", key)); }
      node.addEventListener("click", action);
      return node;
    };
    const speed = make("select", "", "");
    speed.id = "w-replay-speed";
    speed.setAttribute("aria-label", "Speed");
    for (const s of SPEEDS) speed.append(Object.assign(make("option", "", s + "\u00d7"), { value: s }));
    speed.addEventListener("change", function () { change({ speed: Number(speed.value) }); speed.blur(); });
    const slider = Object.assign(document.createElement("input"), { type: "range", min: 0, step: 0.1 });
    slider.id = "w-replay-slider";
    slider.setAttribute("aria-label", "Position in the recording, seconds");
    slider.addEventListener("change", function () { seek(Number(slider.value)); slider.blur(); });
    const words = make("strong", "", "");
    words.id = "w-replay-words";
    const at = make("span", "", "");
    at.id = "w-replay-at";
    const sheet = make("a", "action", "Score sheet");
    sheet.id = "w-replay-score";
    bar.append(words, button("Pause", "w-replay-pause", replay.toggle, "P"),
      button("\u2212" + STEP_S + " s", "w-replay-back", function () { seek(replay.now.position_s - STEP_S); }),
      button("+" + STEP_S + " s", "w-replay-on", function () { seek(replay.now.position_s + STEP_S); }), speed, slider, at, sheet);
  }

  function draw() {
    const bar = spinfloor.el("w-replay");
    if (!bar) return;
    bar.hidden = !replay.now;
    if (!replay.now) return;
    if (!bar.firstChild) fill(bar);
    const now = replay.now;
    spinfloor.text("w-replay-words", now.title + (now.state === "playing" ? "" : ": " + now.state.toUpperCase()) + (now.faults.length ? ", with faults" : ""));
    spinfloor.text(spinfloor.el("w-replay-pause").firstChild, now.state === "playing" ? "Pause " : "Play ");
    spinfloor.text("w-replay-at", clock(now.position_s) + " of " + clock(now.length_s));
    const sheet = spinfloor.el("w-replay-score");
    sheet.hidden = now.state !== "ended";
    sheet.href = "/rehearse?sortie=" + encodeURIComponent(now.sortie);
    const slider = spinfloor.el("w-replay-slider");
    slider.max = now.length_s;
    if (document.activeElement !== slider) slider.value = now.position_s;
    for (const node of bar.querySelectorAll("button, select, input")) spinfloor.keys.lock(node);
    const speed = spinfloor.el("w-replay-speed");
    if (document.activeElement !== speed) speed.value = now.speed;
  }
})();
