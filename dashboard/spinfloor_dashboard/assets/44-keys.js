/* Marks and calls made by a person, by mouse or by the single key drawn on the button; sound and control too. */
(function () {
  "use strict";
  const spinfloor = (window.spinfloor = window.spinfloor || {});
  const TWICE_MS = 400; // two presses closer than this are one
  const TYPED_INTO = "input:not([type=range], .digits), textarea, [contenteditable]"; // a slider, a height and a list take no letters
  const NAMED_MS = 10000;
  const keys = (spinfloor.keys = {});
  let lastPress = { id: "", atMs: 0 };

  function by() { return localStorage.getItem("spinfloor-by") || "engineer"; }
  keys.by = by;

  /* Control belongs to a connection: it falls free when the connection goes, and is taken back by itself after a short
     loss if nobody else took it meanwhile. */
  let heldAs = "";

  function holder() {
    const control = spinfloor.link.state && spinfloor.link.state.control;
    return control ? control.holder : null;
  }
  function holdsControl() { return heldAs !== "" && holder() === heldAs; }

  /** Read-only when somebody else holds control, or for a token that may only watch. */
  keys.readOnly = function () { return spinfloor.session.mayOnlyWatch() || (Boolean(holder()) && !holdsControl()); };
  function whyReadOnly() {
    return spinfloor.session.mayOnlyWatch() ? "Read-only: your token may only watch." : "Read-only: " + holder() + " holds control. T takes it.";
  }

  /** Show on a control whether it may be used here. */
  keys.lock = function (node) {
    node.classList.toggle("locked", keys.readOnly());
    node.setAttribute("aria-disabled", String(keys.readOnly()));
  };
  /** True, and said why, on a screen that is read-only. */
  keys.refused = function () {
    if (keys.readOnly()) answer(whyReadOnly(), true);
    return keys.readOnly();
  };

  /* Taking control from somebody is asked for twice: they lose it. */
  const SURE_MS = 6000;
  let asked = { holder: "", atMs: -Infinity };
  function controlPressed() {
    if (spinfloor.session.mayOnlyWatch()) return answer(whyReadOnly(), true);
    if (!spinfloor.link.open) return answer("Control NOT changed: no connection to the service.", true);
    if (holdsControl()) {
      heldAs = "";
      return spinfloor.link.send({ type: "control", action: "release" });
    }
    const now = performance.now();
    if (holder() && (asked.holder !== holder() || now - asked.atMs > SURE_MS)) {
      asked = { holder: holder(), atMs: now };
      return answer(holder() + " holds control. Press T again to take it from them.", true);
    }
    heldAs = holder() === by() ? by() + " 2" : by(); // two people at the same position stay apart
    return spinfloor.link.send({ type: "control", action: "take", name: heldAs });
  }

  spinfloor.link.on("state", function () {
    if (heldAs && holder() && holder() !== heldAs && lastHolder === heldAs) {
      answer(holder() + " has taken control.", true);
      heldAs = "";
    } else if (heldAs && !holder() && lastHolder === heldAs) {
      spinfloor.link.send({ type: "control", action: "take", name: heldAs });
    }
    lastHolder = holder() || lastHolder;
  });
  let lastHolder = "";
  spinfloor.link.on("sortie", function (now) {
    if (now.goesOn) return;
    heldAs = lastHolder = ""; // control of one sortie is none of another
    asked = { holder: "", atMs: -Infinity };
  });

  const ANSWERED_MS = 20000; // then an answer is no news; what was not recorded stays
  let forgetting = 0;
  const answer = keys.answer = function (words, bad) {
    const node = spinfloor.el("w-mark-answer");
    if (!node) return;
    node.textContent = node.title = words;
    node.style.color = bad ? "var(--caution)" : "";
    window.clearTimeout(forgetting);
    if (!/ NOT [A-Z]/.test(words)) forgetting = window.setTimeout(function () { if (node.textContent === words) node.textContent = node.title = ""; }, ANSWERED_MS);
  };

  async function mark(kind, data, words) {
    if (!spinfloor.link.sortie) return answer("No sortie is chosen.", true);
    answer(words + " ...");
    try {
      await spinfloor.link.json(spinfloor.link.path("/marks"), {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify({ kind: kind, by: by(), data: data }),
      });
      answer(words + ": recorded " + spinfloor.utc(spinfloor.clock.serverMs()));
    } catch (error) {
      answer(words + " NOT RECORDED: " + error.message, true);
    }
    return undefined;
  }

  const ACTIONS = {
    "w-mark-controls_applied": function () { mark("controls_applied", {}, "Controls applied"); },
    "w-mark-acknowledge": function () { mark("acknowledge", acknowledged(), "Acknowledge"); },
    "w-mark-note": function () { openNote(); },
    "w-say-recover": function () { mark("call_made", { call: "recover" }, "Recover called"); },
    "w-say-chute": function () { mark("call_made", { call: "chute" }, "Chute called"); },
    "w-say-abandon": function () { mark("call_made", { call: "abandon" }, "Abandon called"); },
    "w-sound": function () { soundPressed(); },
    "w-unheard": function () { spinfloor.unheard.toggle(); },
    "w-test": function () { spinfloor.sound.test().catch(soundFailed); },
    "w-take": function () { controlPressed(); },
    "w-floors": function () { spinfloor.floors.open(); },
  };
  const ALWAYS = ["w-sound", "w-test", "w-take", "w-unheard"];
  const AGAIN = ["w-floors"]; // twice is as good as once

  function acknowledged() {
    const shown = spinfloor.calls.shown;
    return shown ? { sequence: shown.event.sequence, call: spinfloor.calls.callOf(shown.event) } : {};
  }

  function soundPressed() {
    if (spinfloor.sound.armed()) answer("Sound is armed on this screen; Y plays the test.");
    else spinfloor.sound.arm().then(tellLacking, soundFailed);
  }
  /** Call words of the plan that no recording says: they will sound as their tone, and are shown as text. */
  function tellLacking() {
    const plan = spinfloor.link.info && spinfloor.link.info.plan;
    const lacking = Object.values((plan && plan.call_words) || {}).filter(function (words) { return !spinfloor.clips.sequence(words); });
    if (lacking.length) answer("No recording of: " + lacking.join(", ") + ". Sounds as tone only; record it with: spinfloor clips", true);
  }
  function soundFailed(error) { answer("Sound could not be armed: " + error.message, true); }

  function press(id) {
    const now = performance.now();
    if (lastPress.id === id && !AGAIN.includes(id) && now - lastPress.atMs < TWICE_MS) return false;
    lastPress = { id: id, atMs: now };
    if (!ALWAYS.includes(id) && keys.refused()) return false;
    ACTIONS[id]();
    return true;
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button[id]");
    if (button && ACTIONS[button.id]) press(button.id);
  });

  document.addEventListener("keydown", function (event) {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest && event.target.closest(TYPED_INTO)) return;
    const button = document.querySelector('.watch button[data-key="' + CSS.escape(event.key.toLowerCase()) + '"]');
    if (!button || button.hidden) return;
    event.preventDefault();
    const acted = ACTIONS[button.id] ? press(button.id) : clicked(button);
    if (acted) button.animate([{ background: "#3c5563" }, {}], 250); // a flash says "taken": none where it was refused
  });

  function clicked(button) {
    button.click();
    return !button.classList.contains("locked");
  }

  function openNote() {
    const form = spinfloor.el("w-note");
    form.hidden = false;
    form.querySelector("input").focus();
  }

  function closeNote() {
    const form = spinfloor.el("w-note");
    form.hidden = true;
    form.querySelector("input").value = "";
  }

  /** Form, name and volume are native inputs, put in once per visit to the page. */
  keys.fill = function () {
    const form = spinfloor.el("w-note");
    if (form && !form.firstChild) noteForm(form);
    const name = spinfloor.el("w-by-slot");
    if (name && !name.firstChild) {
      const input = labelled(name, "You are", { maxLength: 40, value: by() });
      input.addEventListener("change", function () { 
        localStorage.setItem("spinfloor-by", input.value.trim() || "engineer");
        input.blur(); // keys are for calls again
      });
      let leaving = 0;
      for (const each of ["focus", "input"]) {
        input.addEventListener(each, function () { // nor does a name left half typed keep them
          window.clearTimeout(leaving);
          leaving = window.setTimeout(function () { input.blur(); }, NAMED_MS);
        });
      }
    }
    fillCards();
    const volume = spinfloor.el("w-volume-slot");
    if (volume && !volume.firstChild) {
      const input = labelled(volume, "Volume", { type: "range", min: 40, max: 100, step: 5 });
      input.value = 100 * spinfloor.sound.volume;
      input.title = "Cannot be set below 40 %";
      input.addEventListener("input", function () { spinfloor.sound.setVolume(input.value / 100); });
      const level = spinfloor.make("meter", "", "");
      level.id = "w-level";
      level.setAttribute("aria-label", "Sound going out");
      volume.firstChild.append(level);
    }
  };

  /** The plan's cards; choosing one is a mark, for this spin or the next. */
  let cardsOf = "";
  function fillCards() {
    const slot = spinfloor.el("w-card-slot");
    const info = spinfloor.link.info;
    if (!slot || !info || !info.plan) return;
    if (cardsOf !== info.id || !slot.firstChild) {
      cardsOf = info.id;
      slot.replaceChildren();
      const select = labelled(slot, "Card ", {}, "select");
      select.id = "w-card";
      select.append(Object.assign(spinfloor.make("option", "", "none"), { value: "", disabled: true }));
      for (const card of info.plan.cards) select.append(Object.assign(spinfloor.make("option", "", card.id + (card.title ? " " + card.title : "")), { value: card.id }));
      select.addEventListener("change", function () {
        if (!keys.refused()) mark("card", { card: select.value }, "Card " + select.value);
        select.blur();
      });
    }
    const select = spinfloor.el("w-card");
    const now = (spinfloor.link.state && spinfloor.link.state.card) || "";
    if (document.activeElement !== select && select.value !== now) select.value = now;
  }

  function labelled(slot, words, attributes, element) {
    const label = spinfloor.make("label", "", words);
    const input = Object.assign(document.createElement(element || "input"), attributes);
    label.append(input);
    slot.append(label);
    return input;
  }

  function noteForm(form) {
    const input = labelled(form, "Note ", { maxLength: 400, placeholder: "Enter saves, Esc leaves", autocomplete: "off" });
    form.addEventListener("submit", function (event) {
      event.preventDefault();
      const words = input.value.trim();
      closeNote();
      if (words) mark("note", { text: words }, "Note");
    });
    input.addEventListener("keydown", function (event) { if (event.key === "Escape") closeNote(); });
  }

  keys.update = function () {
    const control = spinfloor.link.state && spinfloor.link.state.control;
    const watchers = control && control.watchers !== undefined ? ", " + control.watchers + " watching" : "";
    const silent = spinfloor.link.sortie && !spinfloor.link.missing && spinfloor.panels.trust().silent;
    const holder = silent ? "not known, server lost" : control ? (control.holder ? (holdsControl() ? control.holder + " (you)" : control.holder + ", READ-ONLY here") : "nobody") + watchers : "not told";
    spinfloor.text("w-control", holder);
    const take = spinfloor.el("w-take");
    take.hidden = !control;
    spinfloor.text(take.firstElementChild, holdsControl() ? "Give up control" : "Take control");
    for (const id in ACTIONS) if (!ALWAYS.includes(id)) keys.lock(spinfloor.el(id));
    spinfloor.floors.update();
  };
})();
