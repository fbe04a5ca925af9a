/* Time: a browser clock that never steps, and the server's clock seen through it. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const BUCKET_MS = 30000;

  /** Milliseconds since 1970 from the browser's monotonic clock. */
  spinfloor.now = function () { return performance.timeOrigin + performance.now(); };

  /* The offset is the smallest (arrival - sent) of the last 30 to 60 s: network delay only ever adds to it. A server clock
     set back would make everything look old, so a send time that runs backwards starts the estimate again. */
  const clock = (spinfloor.clock = { current: Infinity, previous: Infinity, bucketStart: 0, lastSentMs: -Infinity });

  clock.reset = function () { clock.current = clock.previous = Infinity; clock.bucketStart = 0; clock.lastSentMs = -Infinity; };

  clock.see = function (sentNs) {
    const sentMs = sentNs / 1e6;
    const arrivedMs = spinfloor.now();
    if (sentMs < clock.lastSentMs - 50) clock.reset();
    clock.lastSentMs = sentMs;
    if (arrivedMs - clock.bucketStart > BUCKET_MS) {
      clock.previous = clock.current;
      clock.current = Infinity;
      clock.bucketStart = arrivedMs;
    }
    clock.current = Math.min(clock.current, arrivedMs - sentMs);
  };

  /** How far the browser's clock is ahead of the service's, milliseconds; 0 while not known. */
  clock.aheadMs = function () {
    const offset = Math.min(clock.current, clock.previous);
    return isFinite(offset) ? offset : 0;
  };

  /** Server nanoseconds to the browser's clock, milliseconds. */
  clock.toBrowser = function (serverNs) { return serverNs / 1e6 + clock.aheadMs(); };

  /** The time by the service's clock, which dates what is recorded; by the browser's while not known. Milliseconds since 1970. */
  clock.serverMs = function () { return spinfloor.now() - clock.aheadMs(); };
})();
