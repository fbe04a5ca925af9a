/* The events of a sortie on Debrief: rows drawn here, by kind if asked, each time leading to its moment. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const make = spinfloor.make;
  const HEADS = ["Happened, UTC", "Known after", "What", "Details"];
  const KINDS = ["all", "spins", "calls and marks", "data"];
  let only = "all";

  function draw(data) {
    const box = spinfloor.el("debrief-event-list");
    if (!data) return;
    if (!box) { // about to be put in, unless Debrief was left meanwhile
      if (spinfloor.el("debrief-body")) window.requestAnimationFrame(function () { draw(data); });
      return;
    }
    const here = nearest(data);
    const scroll = make("div", "scroll", "");
    Object.assign(scroll, { tabIndex: 0, role: "region", ariaLabel: "Events in time order" });
    const table = make("table", "plain timeline", "");
    const head = table.createTHead().insertRow();
    for (const words of HEADS) head.append(make("th", "", words));
    const body = table.createTBody();
    const shown = data.rows.filter(function (row) { return only === "all" || row[2] === only; });
    for (const row of shown) body.append(line(data, row, row === here));
    scroll.append(table);
    box.replaceChildren(choice(data, shown.length), scroll);
    const moment = spinfloor.el("moment-row");
    if (moment) scroll.scrollTop = moment.offsetTop - scroll.clientHeight / 3;
    const spins = spinfloor.el("spin-table");
    const spin = spins && spins.querySelector("tr.chosen");
    if (spin) spins.scrollTop = spin.offsetTop - spins.clientHeight / 2;
  }

  /** Which kinds are shown, and how many of how many. */
  function choice(data, count) {
    const row = make("div", "link-row event-kinds", "");
    for (const kind of KINDS) {
      const button = make("button", "action", kind);
      button.type = "button";
      button.setAttribute("aria-pressed", String(kind === only));
      button.addEventListener("click", function () { only = kind; draw(data); });
      row.append(button);
    }
    const cut = data.rows.length < data.total ? "; the first " + data.rows.length.toLocaleString("en") + " of " + data.total.toLocaleString("en") + " are listed here, the exports hold all" : "";
    row.append(make("span", "soft", count.toLocaleString("en") + (count === 1 ? " event" : " events") + cut));
    return row;
  }

  function nearest(data) {
    if (data.moment === null || !data.rows.length) return null;
    const wanted = BigInt(data.moment);
    let best = null;
    let least = null;
    for (const row of data.rows) {
      const off = BigInt(row[0]) - wanted;
      const size = off < 0n ? -off : off;
      const says = size === least && best[4] === "phase"; // at the same moment: what happened, not the phase it began
      if (least === null || size < least || says) { least = size; best = row; }
    }
    return best;
  }

  function line(data, row, here) {
    const node = make("tr", here ? "here" : "", "");
    if (here) node.id = "moment-row";
    const link = make("a", "", "");
    const query = new URLSearchParams(Object.assign({ sortie: data.sortie, t: row[0] }, data.query));
    link.href = "/debrief?" + query;
    link.append(clock(row[0]));
    link.addEventListener("click", function (event) {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      window.dash_clientside.set_props("debrief-go", { href: link.getAttribute("href") });
    });
    const marked = row[3] === "warning" || row[3] === "caution";
    const cells = [link, row[1], marked ? make("span", "badge badge-" + row[3], row[4]) : row[4], row[5]];
    for (const cell of cells) node.insertCell().append(cell);
    return node;
  }

  /** Time of day in UTC to the millisecond, local on hover. */
  function clock(ns) {
    const moment = new Date(Number(BigInt(ns) / 1000000n));
    const time = make("time", "utc", moment.toISOString().slice(11, 23));
    time.dateTime = moment.toISOString();
    time.title = moment.toLocaleString() + " local";
    return time;
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.spinfloor_events = {
    draw: function (data) { draw(data); return ""; },
    chosen: function (click, query) {
      const time = click && click.points.length && click.points[0].customdata;
      return time ? "/debrief?" + new URLSearchParams({ sortie: query.sortie, t: time }) : window.dash_clientside.no_update;
    },
  };
})();
