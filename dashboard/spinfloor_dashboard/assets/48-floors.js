/* Moving the floors in flight: what holds now, what it would make of the altitude left, and a second press to lower one. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const floors = (spinfloor.floors = {});
  const make = spinfloor.make;
  const KINDS = [["recovery", "Recovery floor"], ["chute", "Chute floor"], ["abandon", "Abandon floor"]];
  let before = {}; // what held when the form was opened, ft or null
  let lowering = ""; // what the first press would have lowered
  let sending = false;

  function now() { return (spinfloor.link.state && spinfloor.link.state.floors) || {}; }
  function field(kind) { return spinfloor.el("w-floor-" + kind); }
  function ft(x) { return spinfloor.panels.whole(x) + " ft"; }

  /** Feet typed for a floor, null where empty, NaN where it is no number. */
  function typed(kind) {
    const words = field(kind).value.trim().replace(/[,\s]/g, "");
    return words === "" ? null : Number(words);
  }

  floors.open = function () {
    const form = spinfloor.el("w-floors-form");
    if (!form.hidden) return field("recovery").select();
    if (!spinfloor.link.state || !spinfloor.known(now().recovery_ft)) return spinfloor.keys.answer("No floors are known yet: the first frame brings the plan's.", true);
    if (!form.firstChild) build(form);
    lowering = "";
    for (const kind of KINDS) {
      before[kind[0]] = spinfloor.known(now()[kind[0] + "_ft"]) ? now()[kind[0] + "_ft"] : null;
      field(kind[0]).value = before[kind[0]] === null ? "" : String(+before[kind[0]].toFixed(1));
    }
    say("");
    form.hidden = false;
    field("recovery").select();
    return floors.update();
  };

  function close() {
    spinfloor.el("w-floors-form").hidden = true;
    spinfloor.el("w-floors").focus();
  }

  function build(form) {
    const info = spinfloor.link.info;
    const reference = info && info.plan && info.plan.floors.reference;
    form.append(make("h3", "", "Floors, feet"), make("p", "soft", "Measured from: " + (reference || "as in the plan") + ". A chute floor left empty: none."));
    for (const kind of KINDS) {
      const label = make("label", "", kind[1]);
      const input = Object.assign(make("input", "digits", ""), { id: "w-floor-" + kind[0], inputMode: "numeric", maxLength: 8, autocomplete: "off" });
      input.addEventListener("input", function () { lowering = ""; say(""); floors.update(); });
      label.append(input);
      form.append(label);
    }
    form.append(make("p", "", ""), make("p", "floors-said", ""));
    form.children[form.children.length - 2].id = "w-floors-effect";
    form.lastChild.id = "w-floors-said";
    form.lastChild.setAttribute("role", "alert");
    const row = make("div", "link-row", "");
    const set = Object.assign(make("button", "action primary", "Set floors"), { type: "submit" });
    const leave = Object.assign(make("button", "action", "Leave as they are"), { type: "button" });
    leave.append(make("kbd", "", "Esc"));
    leave.addEventListener("click", close);
    row.append(set, leave);
    form.append(row);
    form.addEventListener("submit", function (event) { event.preventDefault(); submit(); });
    form.addEventListener("keydown", function (event) { if (event.key === "Escape") close(); });
  }

  function say(words) { spinfloor.text("w-floors-said", words); }

  /** What the recovery floor typed would leave, at this moment. */
  floors.update = function () {
    const form = spinfloor.el("w-floors-form");
    if (!form || form.hidden || !form.firstChild) return;
    const state = spinfloor.link.state || {};
    const left = state.altitude_left_ft;
    const wanted = typed("recovery");
    const counts = left && spinfloor.known(left.bound) && spinfloor.panels.coming(state) && spinfloor.known(wanted);
    spinfloor.text("w-floors-effect", counts ? "Cautious altitude left: now " + ft(left.bound) + ", then " + ft(left.bound + now().recovery_ft - wanted) + "." : "");
  };

  function changed() {
    const out = {};
    for (const kind of KINDS) if (typed(kind[0]) !== before[kind[0]]) out[kind[0] + "_ft"] = typed(kind[0]);
    return out;
  }

  /** The service refuses it as well; here it is one short sentence. */
  function outOfOrder() {
    const [recovery, chute, abandon] = KINDS.map(function (kind) { return typed(kind[0]); });
    if (abandon < recovery && (chute === null || (abandon <= chute && chute <= recovery))) return "";
    return "Expected abandon lowest and recovery highest; got recovery " + ft(recovery) + (chute === null ? "" : ", chute " + ft(chute)) + ", abandon " + ft(abandon) + "; nothing was changed.";
  }

  function lowered(wanted) {
    return KINDS.filter(function (kind) {
      const to = wanted[kind[0] + "_ft"];
      return to !== undefined && before[kind[0]] !== null && (to === null || to < before[kind[0]]);
    }).map(function (kind) { return kind[1].toLowerCase() + " from " + ft(before[kind[0]]) + " to " + (wanted[kind[0] + "_ft"] === null ? "none" : ft(wanted[kind[0] + "_ft"])); }).join(", ");
  }

  async function submit() {
    const wanted = changed();
    const odd = Object.keys(wanted).find(function (name) { return Number.isNaN(wanted[name]) || (wanted[name] === null && name !== "chute_ft"); });
    if (odd) return say("Expected feet for the " + odd.replace("_ft", "") + " floor; got \u201c" + field(odd.replace("_ft", "")).value + "\u201d; nothing was changed.");
    if (!Object.keys(wanted).length) return close();
    const disorder = outOfOrder();
    if (disorder) return say(disorder);
    if (spinfloor.keys.refused() || sending) return undefined;
    const less = lowered(wanted);
    if (less && lowering !== less) {
      lowering = less;
      return say("This lowers the " + less + ". Press Set floors again.");
    }
    sending = true;
    try {
      await spinfloor.link.json(spinfloor.link.path("/floors"), {
        method: "PATCH", headers: { "content-type": "application/json" }, body: JSON.stringify({ floors: wanted, by: spinfloor.keys.by() }),
      });
      close();
      spinfloor.keys.answer("Floors set: " + floors.words(wanted) + ", recorded " + spinfloor.utc(spinfloor.clock.serverMs()));
    } catch (error) {
      say("NOT SET: " + error.message);
    } finally {
      sending = false;
    }
    return undefined;
  }

  /** "recovery 5,500 ft, abandon 4,000 ft" of the floors that are there. */
  floors.words = function (given) {
    return KINDS.filter(function (kind) { return given[kind[0] + "_ft"] !== undefined; })
      .map(function (kind) { return kind[0] + " " + (given[kind[0] + "_ft"] === null ? "none" : ft(given[kind[0] + "_ft"])); }).join(", ");
  };
})();
