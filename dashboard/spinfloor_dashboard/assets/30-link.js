/* The live link: our own WebSocket, reconnecting by itself; missed events are fetched after every gap. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const QUIET_MS = 3000; // no message for this long: the socket is taken for dead and opened again
  const RETRY_MS = [200, 400, 800, 1500];

  const link = (spinfloor.link = {
    sortie: "", info: null, state: null, strip: null, stateAtMs: 0, lastMessageMs: 0, openedMs: 0, lostMs: 0, open: false,
    missing: "", run: "", sequence: -1, events: [], listeners: {},
  });
  let socket = null;
  let attempt = 0;
  let retryTimer = 0;
  let backfilling = false;

  link.on = function (name, listener) { (link.listeners[name] = link.listeners[name] || []).push(listener); };
  function tell(name, value) { for (const listener of link.listeners[name] || []) listener(value); }

  link.path = function (rest) { return spinfloor.base() + "/v1/sorties/" + encodeURIComponent(link.sortie) + rest; };

  /** JSON from the API; a problem answer becomes an Error with its sentence. */
  link.json = async function (url, options) {
    const answer = await fetch(url, Object.assign({ signal: AbortSignal.timeout(8000) }, options || {}, { headers: Object.assign({}, (options || {}).headers, spinfloor.session.headers()) }));
    const body = await answer.json().catch(function () { return {}; });
    if (answer.status === 401) spinfloor.session.ask("");
    if (answer.status === 403 && body.code === "csrf" && !(options || {}).again) { // signed in anew in another tab
      await spinfloor.session.check();
      return link.json(url, Object.assign({ again: true }, options));
    }
    if (!answer.ok) throw new Error(body.detail || body.title || "the service answered " + answer.status);
    return body;
  };

  /** Watch a sortie; goesOn: it is the one watched before, under a new name. */
  link.watch = function (sortie, goesOn) {
    if (sortie === link.sortie) return;
    link.sortie = sortie;
    link.info = link.state = link.strip = null;
    link.lostMs = link.stateAtMs = 0;
    link.missing = "";
    forgetRun("");
    spinfloor.clock.reset();
    tell("sortie", { sortie: sortie, goesOn: Boolean(goesOn) });
    if (sortie) sessionStorage.setItem("spinfloor-sortie", sortie);
    drop();
    if (sortie) connect();
  };

  function forgetRun(run) {
    link.run = run;
    link.sequence = -1;
    link.events = [];
    tell("run", run);
  }

  function connect() {
    window.clearTimeout(retryTimer);
    const own = new WebSocket(link.path("/live").replace(/^http/, "ws"));
    socket = own;
    own.onopen = function () {
      if (socket !== own) return;
      link.open = true;
      link.missing = "";
      attempt = 0;
      link.openedMs = link.lastMessageMs = spinfloor.now();
      tellSound();
      backfill();
      tell("open", null);
    };
    own.onmessage = function (message) { if (socket === own) receive(JSON.parse(message.data)); };
    own.onclose = function () { if (socket === own) again(); };
  }

  function drop() {
    const old = socket;
    socket = null;
    link.open = false;
    window.clearTimeout(retryTimer);
    if (old) old.close();
  }

  function again() {
    drop();
    if (!link.lostMs) link.lostMs = spinfloor.now();
    tell("lost", null);
    const wait = RETRY_MS[Math.min(attempt, RETRY_MS.length - 1)];
    attempt += 1;
    if (attempt % 4 === 2) isThere();
    retryTimer = window.setTimeout(connect, wait);
  }

  /** A socket refused because there is no such sortie is no lost connection. */
  async function isThere() {
    const sortie = link.sortie;
    try {
      const answer = await fetch(link.path(""), { signal: AbortSignal.timeout(5000) });
      if (sortie === link.sortie) link.missing = [404, 422].includes(answer.status) ? sortie : "";
    } catch (error) {
      link.missing = ""; // nobody answers: the connection is lost indeed
    }
  }

  window.setInterval(function () {
    if (socket && link.open && spinfloor.now() - link.lastMessageMs > QUIET_MS) again();
  }, 500);
  window.addEventListener("online", function () { if (link.sortie && !link.open) { drop(); connect(); } });

  function receive(message) {
    link.lastMessageMs = spinfloor.now();
    link.lostMs = 0;
    if (message.type === "state") {
      const sent = message.state.server_ns;
      if (sent) spinfloor.clock.see(sent);
      link.state = message.state;
      link.stateAtMs = sent ? spinfloor.clock.toBrowser(sent) : link.lastMessageMs;
      if (message.strip) tell("strip", message.strip);
      tell("state", message.state);
    } else if (message.type === "event") take(message.event, message);
    else if (message.type === "error") tell("trouble", message.detail);
  }

  /** One event, live or fetched; each sequence number is taken once and a hole is filled before going on. */
  function take(event, message) {
    if (event.run !== link.run) forgetRun(event.run);
    if (event.sequence <= link.sequence) return;
    if (message && link.sequence >= 0 && event.sequence > link.sequence + 1) backfill();
    link.sequence = Math.max(link.sequence, event.sequence);
    link.events.push(event);
    if (link.events.length > 4000) link.events.shift();
    tell("event", { event: event, live: message });
  }

  async function backfill() {
    if (backfilling || !link.sortie) return;
    backfilling = true;
    const sortie = link.sortie;
    try {
      if (!link.info) {
        const info = await link.json(link.path(""));
        if (sortie === link.sortie) { link.info = info; tell("info", info); }
      }
      const known = new Set(link.events.map(function (event) { return event.run + event.sequence; }));
      const after = missingAfter();
      const body = await link.json(link.path("/events" + (after >= 0 ? "?after=" + after : "")), { headers: { accept: "application/json" } });
      if (sortie === link.sortie) merge(body.events, known);
      tell("fetched", null);
    } catch (error) {
      tell("unfetched", "events could not be fetched: " + error.message);
    } finally {
      backfilling = false;
    }
  }

  /** The last sequence number up to which nothing is missing. */
  function missingAfter() {
    let whole = -1;
    for (const event of link.events) {
      if (event.sequence === whole + 1 || whole === -1) whole = event.sequence;
      else break;
    }
    return link.events.length && link.events[0].sequence === 0 ? whole : -1;
  }

  function merge(events, known) {
    const fresh = events.filter(function (event) { return !known.has(event.run + event.sequence); });
    if (!fresh.length) return;
    const run = fresh[fresh.length - 1].run;
    if (run !== link.run && link.sequence < 0) forgetRun(run);
    link.events = link.events.concat(fresh.filter(function (event) { return event.run === link.run; }));
    link.events.sort(function (a, b) { return a.sequence - b.sequence; });
    link.events = link.events.filter(function (event, i, all) { return i === 0 || event.sequence !== all[i - 1].sequence; });
    link.sequence = link.events.length ? link.events[link.events.length - 1].sequence : -1;
    tell("history", link.events);
  }

  link.send = function (message) {
    if (link.open && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message));
  };

  function tellSound() {
    link.send({ type: "sound", armed: spinfloor.sound.armed(), volume: spinfloor.sound.volume });
  }
  link.tellSound = tellSound;
})();
