/* What the other scripts are written with: elements, words, sizes, addresses, times. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});

  spinfloor.el = function (id) { return document.getElementById(id); };

  /** An element with a class and words. */
  spinfloor.make = function (name, className, words) {
    const node = document.createElement(name);
    if (className) node.className = className;
    node.textContent = words;
    return node;
  };

  /** Write text only when it differs: the page is written up to 25 times a second. */
  spinfloor.text = function (id, words) {
    const node = typeof id === "string" ? document.getElementById(id) : id;
    if (node && node.textContent !== words) node.textContent = words;
  };

  /* Sizes come from an observer: asking an element for its size makes the browser lay out the page there and then. */
  const sizes = new WeakMap();
  const observer = new ResizeObserver(function (entries) {
    for (const entry of entries) sizes.set(entry.target, { width: Math.round(entry.contentRect.width), height: Math.round(entry.contentRect.height) });
  });
  /** {width, height} of an element's inside, CSS pixels. */
  spinfloor.sizeOf = function (node) {
    if (!sizes.has(node)) {
      sizes.set(node, { width: node.clientWidth, height: node.clientHeight });
      observer.observe(node);
    }
    return sizes.get(node);
  };

  spinfloor.base = function () {
    const shell = document.getElementById("shell");
    return (shell && shell.dataset.api) || window.location.origin;
  };

  function twoDigits(n) { return String(n).padStart(2, "0"); }

  /** "10:04:05" in UTC from milliseconds. */
  spinfloor.utc = function (ms) {
    const d = new Date(ms);
    return twoDigits(d.getUTCHours()) + ":" + twoDigits(d.getUTCMinutes()) + ":" + twoDigits(d.getUTCSeconds());
  };

  /** A time in UTC, local on hover; with the source's time it leads to that moment in Debrief, in a tab of its own. */
  spinfloor.moment = function (ms, sourceNs) {
    const time = document.createElement("time");
    time.dateTime = new Date(ms).toISOString();
    time.title = new Date(ms).toLocaleString() + " local";
    time.textContent = spinfloor.utc(ms);
    if (!sourceNs) return time;
    const link = document.createElement("a");
    link.href = "/debrief?sortie=" + encodeURIComponent(spinfloor.link.sortie) + "&t=" + sourceNs;
    link.target = "_blank"; // leaving this page would silence it
    link.append(time);
    return link;
  };

  /** Whether x is a number that means something. */
  spinfloor.known = function (x) { return x !== null && x !== undefined && isFinite(x); };
})();
