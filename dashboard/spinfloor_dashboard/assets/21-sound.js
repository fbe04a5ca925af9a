/* Speaks the calls: one AudioContext armed by a gesture, a higher call cuts off a lower one, every call is reported. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const RANK = { status: 0, turn: 1, caution: 2, recover: 3, chute: 4, abandon: 5 };
  // Seconds after which a call of this rank is no longer worth saying (own choice; recover and abandon repeat anyway).
  const WORTH_S = { status: 5, turn: 1, caution: 3, recover: 2, chute: 3, abandon: 2 };
  const GAP_S = 0.03;
  const HEARD_WITHIN_MS = 500;
  const SILENT_BELOW = 0.002;
  const LOOKS_AT_LEAST = 20; // a browser that was busy may come to look in the pause between two pips
  const LEAST_VOLUME = 0.4;
  const WINDOW = 512; // samples looked at: 12 ms

  const sound = (spinfloor.sound = {
    context: null, volume: 0.8, queue: [], current: null, trace: [], peakSinceArmed: 0, RANK: RANK, onreport: null, onchange: null,
  });
  let master = null;
  let tap = null;
  let samples = null;

  sound.armed = function () { return Boolean(sound.context) && sound.context.state === "running" && spinfloor.clips.loaded; };

  sound.why = function () {
    if (spinfloor.clips.failed) return "clips not loaded: " + spinfloor.clips.failed;
    return sound.context ? "the browser has suspended the sound" : "not armed since this page was opened";
  };

  /** Must be called from a click or key press. */
  sound.arm = async function () {
    if (!sound.context) {
      sound.context = new AudioContext({ latencyHint: "interactive" });
      master = sound.context.createGain();
      tap = sound.context.createAnalyser();
      tap.fftSize = WINDOW;
      samples = new Float32Array(tap.fftSize);
      master.connect(tap).connect(sound.context.destination);
      sound.context.onstatechange = function () {
        if (sound.context.state !== "running") drop("the browser has suspended the sound");
        changed();
      };
    }
    sound.setVolume(sound.volume);
    await sound.context.resume();
    await spinfloor.clips.load();
    sound.peakSinceArmed = 0;
    changed();
    sound.say({ call: "status", words: "sound armed", bornMs: spinfloor.now(), sequence: null });
  };

  sound.setVolume = function (fraction) {
    sound.volume = Math.min(1, Math.max(LEAST_VOLUME, fraction));
    if (master) master.gain.value = sound.volume;
    changed();
  };

  /** Peak of the last WINDOW samples sent to the loudspeaker. */
  sound.peak = function () {
    if (!tap) return 0;
    tap.getFloatTimeDomainData(samples);
    let peak = 0;
    for (let i = 0; i < samples.length; i += 1) peak = Math.max(peak, Math.abs(samples[i]));
    sound.peakSinceArmed = Math.max(sound.peakSinceArmed, peak);
    return peak;
  };

  /** Say a call. item: {call, words, sequence, bornMs, receivedMs?}; the outcome goes to sound.onreport. */
  sound.say = function (item) {
    item.rank = RANK[item.call] === undefined ? 0 : RANK[item.call];
    if (!sound.armed()) return report(item, null, "sound not armed");
    if (tooOld(item)) return report(item, null, "arrived too old to say");
    const now = sound.current;
    if (now && item.rank === now.item.rank && item.rank >= RANK.recover && item.words === now.item.words) {
      return report(item, now.latencyMs, ""); // the same call is being spoken at this moment
    }
    if (now && item.rank <= now.item.rank) {
      sound.queue.push(item);
      sound.queue.sort(function (a, b) { return b.rank - a.rank || a.bornMs - b.bornMs; });
      return undefined;
    }
    if (now) cut(now);
    return start(item);
  };

  function tooOld(item) { return spinfloor.now() - item.bornMs > 1000 * (WORTH_S[item.call] || 3); }

  function parts(item) {
    const words = spinfloor.clips.sequence(item.words);
    const tone = spinfloor.clips.tones[item.call];
    if (words) return (tone ? [tone] : []).concat(words);
    item.toneOnly = true; // no recording of these words: tone and text
    return [tone || spinfloor.clips.tones.caution];
  }

  function start(item) {
    const context = sound.context;
    const fader = context.createGain();
    fader.connect(master);
    let at = context.currentTime + 0.002;
    const first = at;
    const sources = parts(item).map(function (name) {
      const source = context.createBufferSource();
      source.buffer = spinfloor.clips.buffers.get(name);
      source.connect(fader);
      source.start(at);
      at += source.buffer.duration + GAP_S;
      return source;
    });
    const scheduledMs = spinfloor.now();
    const delayMs = 1000 * (first - context.currentTime + (context.outputLatency || context.baseLatency || 0));
    const whole = first + WINDOW / context.sampleRate; // from here on the window holds nothing of the sound before
    const playing = { item: item, wholeS: whole, fader: fader, sources: sources, looks: 0, startMs: scheduledMs, heard: false, latencyMs: scheduledMs + delayMs - item.bornMs };
    sound.current = playing;
    sound.trace.push({ sequence: item.sequence, call: item.call, bornMs: item.bornMs, receivedMs: item.receivedMs || null, scheduledMs: scheduledMs });
    if (sound.trace.length > 2000) sound.trace.shift();
    sources[sources.length - 1].onended = function () { if (sound.current === playing) finish(playing); };
    listen(playing);
  }

  /** Believe a call only when the samples going out are not silent and the audio clock runs. */
  function listen(playing) {
    if (playing.heard || sound.current !== playing) return;
    const peak = sound.peak();
    playing.looks += 1;
    if (sound.context.currentTime > playing.wholeS && peak > SILENT_BELOW) {
      playing.heard = true;
      report(playing.item, playing.latencyMs, playing.item.toneOnly ? "tone only, no recording of the words" : "");
    } else if (spinfloor.now() - playing.startMs > HEARD_WITHIN_MS && playing.looks > LOOKS_AT_LEAST) {
      playing.heard = true;
      report(playing.item, null, "the output stayed silent");
    } else window.setTimeout(function () { listen(playing); }, 8);
  }

  function cut(playing) {
    const at = sound.context.currentTime;
    playing.fader.gain.setValueAtTime(1, at);
    playing.fader.gain.linearRampToValueAtTime(0, at + 0.012);
    for (const source of playing.sources) source.stop(at + 0.015);
    if (!playing.heard) report(playing.item, null, "cut off by a higher call");
    sound.current = null;
  }

  /** What was being said or waited is not said later, when the sound comes back. */
  function drop(reason) {
    const playing = sound.current;
    sound.current = null;
    if (playing) {
      for (const source of playing.sources) source.stop();
      playing.fader.disconnect();
      if (!playing.heard) report(playing.item, null, reason);
    }
    for (const item of sound.queue.splice(0)) report(item, null, reason);
  }

  function finish(playing) {
    playing.fader.disconnect();
    sound.current = null;
    while (sound.queue.length) {
      const next = sound.queue.shift();
      if (!tooOld(next)) return start(next);
      report(next, null, "waited too long behind a higher call");
    }
    return undefined;
  }

  function report(item, latencyMs, reason) {
    if (item.sequence !== null && sound.onreport) sound.onreport(item, latencyMs, reason);
  }

  function changed() { if (sound.onchange) sound.onchange(); }

  /** Every tone with its word, lowest first, as a rehearsal of what will be heard. */
  sound.test = async function () {
    await sound.arm();
    for (const call of ["caution", "recover", "chute", "abandon"]) {
      sound.queue.push({ call: call, rank: -1, words: "test " + call, sequence: null, bornMs: spinfloor.now() + 8000 });
    }
  };
})();
