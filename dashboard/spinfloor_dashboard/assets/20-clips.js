/* Recorded words and tones: loads the clips and turns a call's words into a sequence of them. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty"];
  const TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

  /** Whole number 0..999 to spoken words; larger numbers digit by digit. */
  function numberWords(n) {
    if (n <= 20) return [ONES[n]];
    if (n < 100) return [TENS[Math.floor(n / 10)]].concat(n % 10 ? [ONES[n % 10]] : []);
    if (n < 1000) return [ONES[Math.floor(n / 100)], "hundred"].concat(n % 100 ? numberWords(n % 100) : []);
    return String(n).split("").map(function (digit) { return ONES[Number(digit)]; });
  }

  function tokens(words) {
    const plain = String(words).toLowerCase().replace(/[^a-z0-9.]+/g, " ").replace(/\.(?!\d)/g, " ").trim();
    const out = [];
    for (const token of plain.split(/\s+/)) {
      if (/^\d+$/.test(token)) out.push.apply(out, numberWords(Number(token)));
      else if (/^\d+\.\d+$/.test(token)) {
        const halves = token.split(".");
        out.push.apply(out, numberWords(Number(halves[0])).concat(["point"], halves[1].split("").map(function (d) { return ONES[Number(d)]; })));
      } else if (token) out.push(token);
    }
    return out;
  }

  const clips = (spinfloor.clips = { phrases: {}, tones: {}, buffers: new Map(), ready: null, loaded: false, failed: "" });

  /** The clips that say `words`, longest recorded phrase first; null when any part has no recording. */
  clips.sequence = function (words) {
    const parts = tokens(words);
    const out = [];
    let at = 0;
    while (at < parts.length) {
      let end = parts.length;
      while (end > at && !clips.phrases[parts.slice(at, end).join(" ")]) end -= 1;
      if (end === at) return null;
      out.push(clips.phrases[parts.slice(at, end).join(" ")]);
      at = end;
    }
    return out.length ? out : null;
  };

  async function loadSet(folder, decoder, optional) {
    const answer = await fetch(folder + "manifest.json", { cache: "no-cache" });
    if (!answer.ok) {
      if (optional) return;
      throw new Error("the sound list answered " + answer.status);
    }
    const manifest = await answer.json();
    const files = Object.values(manifest.phrases).concat(Object.values(manifest.tones || {}));
    await Promise.all(files.map(async function (file) {
      const bytes = await (await fetch(folder + file)).arrayBuffer();
      clips.buffers.set(folder + file, await decoder.decodeAudioData(bytes));
    }));
    for (const phrase in manifest.phrases) clips.phrases[phrase] = folder + manifest.phrases[phrase];
    for (const tone in manifest.tones || {}) clips.tones[tone] = folder + manifest.tones[tone];
  }

  /** Fetch and decode everything once, before any gesture; the plan's own clips come over the shipped ones. */
  clips.load = function () {
    if (!clips.ready) {
      const decoder = new OfflineAudioContext(1, 1, 44100);
      clips.ready = loadSet("/assets/sounds/", decoder, false).then(function () {
        return document.getElementById("shell").dataset.clips ? loadSet("/plan-sounds/", decoder, true) : undefined;
      }).then(function () { clips.loaded = true; }).catch(function (error) {
        clips.failed = String(error.message || error);
        clips.ready = null;
        throw error;
      });
    }
    return clips.ready;
  };
})();
