"""What Watch says, word by word, of states and events given to its scripts."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.dashboard.extreme import EXTREME
from tests.dashboard.visiting import Visit

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]

CARDS = [{"id": "U3", "direction": "left", "turns": 3.0}]
SPIN: dict[str, Any] = {
    **EXTREME, "orientation": "upright", "direction": "right", "turns": 2.0, "planned_turns": 3.0, "card": "U3",
    "estimated": False, "altitude_left_ft": {"median": 5_000.0, "bound": 4_000.0}, "time_age_s": 0.1,
    "recovery_started": False, "spin_ordinal": 1,
}  # fmt: skip
FALLEN: dict[str, Any] = {**SPIN, "in_spin": False, "phase": "departure", "recovery_started": True}
SHOW = """([state, events, cards]) => {
  const link = spinfloor.link;
  link.watch("");
  spinfloor.calls.forget();
  link.sortie = "given"; link.open = true; link.info = {id: "given", plan: {cards, floors: {}}};
  link.state = Object.assign({server_ns: 1e6 * spinfloor.now(), time_ns: 1e6 * spinfloor.now(), origin: "live"}, state);
  link.stateAtMs = link.lastMessageMs = spinfloor.now() + 3600e3; // no message is awaited
  link.events = [];
  for (const [i, event] of events.entries()) {
    const whole = Object.assign({sequence: i, run: "r", time_ns: 1e9 * i, detected_ns: 1e9 * i}, event);
    link.events.push(whole);
    spinfloor.calls.see(whole, {server_ns: 1e6 * (spinfloor.now() - (event.old_s || 0) * 1000)});
  }
  spinfloor.panels.update();
  spinfloor.calls.band();
}"""


def show(page: Page, state: dict[str, Any], *events: dict[str, Any]) -> None:
    """The page as it stands with this state, after these events."""
    page.evaluate(SHOW, [state, events, CARDS])


def call(name: str, words: str = "", **data: Any) -> dict[str, Any]:
    return {"kind": "call", "data": {"call": name, "words": words or name, "reason": "why", **data}}


def event(kind: str, **data: Any) -> dict[str, Any]:
    return {"kind": kind, "data": data}


@pytest.fixture
def watch(visit: Visit) -> Page:
    page = visit.open("/")
    page.wait_for_selector("#w-sound")
    return page


def test_recover_is_a_warning_until_the_controls_are_in(watch: Page) -> None:
    band = watch.locator("#w-call")
    show(watch, SPIN, call("recover"))
    expect(band).to_have_attribute("data-call", "recover")
    show(watch, SPIN, call("recover"), event("recovery.started", turns=2.0))
    expect(band).to_have_attribute("data-call", "obeyed")
    expect(watch.locator("#w-call-reason")).to_have_text("recovery controls are in")
    show(watch, FALLEN, call("chute"), event("spin.ended", turns=2.0))
    expect(band).to_have_attribute("data-call", "obeyed")
    show(watch, FALLEN, call("abandon"), event("spin.ended", turns=2.0))
    expect(band).to_have_attribute("data-call", "abandon")
    show(watch, SPIN, call("recover"), event("recovery.started", turns=2.0), call("recover"))
    expect(band).to_have_attribute("data-call", "recover")


def test_a_turn_is_shown_over_a_recover_that_is_obeyed(watch: Page) -> None:
    events = call("recover"), event("recovery.started", turns=2.0), call("turn", "three", turns=3.0, planned_turns=3.0)
    show(watch, SPIN, *events)
    expect(watch.locator("#w-call-words")).to_have_text("three")
    expect(watch.locator("#w-call-reason")).to_have_text("3.0 of 3 planned turns")


def test_a_new_spin_is_not_under_the_last_one_s_words(watch: Page) -> None:
    recovered = call("status", "recovered", reason_code="recovered")
    show(watch, SPIN, recovered, event("spin.started", altitude_ft=16_000.0))
    expect(watch.locator("#w-call-words")).to_have_text("NO CALL YET IN THIS SPIN")
    show(watch, SPIN, call("abandon"), event("spin.started", altitude_ft=16_000.0))
    expect(watch.locator("#w-call-words")).to_have_text("abandon")


def test_recovered_gives_two_heights_that_add_up(watch: Page) -> None:
    told = call(
        "status",
        "recovered",
        reason="recovered",
        reason_code="recovered",
        altitude_ft=13_822.0,
        altitude_left_ft=5_805.0,
    )
    told["data"]["floor_ft"] = 8_000.0
    show(watch, {**FALLEN, "phase": "flight"}, told)
    expect(watch.locator("#w-call-numbers")).to_have_text("level at 13,805 ft · 5,805 ft above the recovery floor")


def test_a_spin_that_is_not_the_card_s_says_what_the_card_says(watch: Page) -> None:
    words = watch.locator("#w-planned-words")
    show(watch, SPIN)
    expect(words).to_have_text("planned left")
    show(watch, {**SPIN, "direction": "left"})
    expect(words).to_have_text("planned")
    show(watch, {**SPIN, "orientation": "inverted", "planned_turns": None})
    expect(words).to_have_text("not on the card")
    show(watch, {**SPIN, "card": None, "planned_turns": None})
    expect(words).to_have_text("no card")


@pytest.mark.parametrize("turns", [12.94, 38.44])
def test_what_the_card_says_is_not_cut_off_beside_many_turns(watch: Page, turns: float) -> None:
    watch.evaluate("() => document.fonts.ready.then(() => 0)")
    show(
        watch,
        {**SPIN, "turns": turns, "turns_lower_bound": turns > 20.0, "planned_turns": 40.0, "orientation": "inverted"},
    )
    over = """node => {
      const words = document.createRange();
      words.selectNodeContents(node);
      const [own, cell] = [words.getBoundingClientRect(), node.closest(".cell").getBoundingClientRect()];
      return Math.max(own.right - cell.right, cell.top - own.top);
    }"""
    for words in ("#w-planned-words", "#w-planned"):
        assert watch.locator(words).evaluate(over) < -8.0  # inside the cell's padding


def test_altitude_left_stays_while_the_aircraft_falls_out_of_a_spin(watch: Page) -> None:
    left = watch.locator("#w-left-bound-ft")
    show(watch, FALLEN, event("spin.ended", turns=2.0), event("phase", **{"from": "dive", "to": "departure"}))
    expect(left).to_have_text("4,000")
    show(watch, FALLEN, event("spin.ended", turns=2.0), event("phase", **{"from": "dive", "to": "flight"}))
    expect(left).to_have_text("-")  # the entry of the next one


def test_an_altitude_that_has_gone_makes_no_estimate_of_the_turns(watch: Page) -> None:
    show(watch, {**SPIN, "estimated": True})
    expect(watch.locator("#w-left-cell .estimate-tag")).to_be_visible()
    expect(watch.locator("#w-turns-cell .estimate-tag")).to_be_hidden()
    expect(watch.locator("#w-state-cell .estimate-tag")).to_be_hidden()
    show(watch, {**SPIN, "estimated": True, "link": "lost"})
    expect(watch.locator("#w-turns-cell .estimate-tag")).to_be_visible()


def test_seconds_that_say_nothing_do_not_run_into_the_feet(watch: Page) -> None:
    show(watch, {**SPIN, "seconds_left": {"median": 1_363.0, "bound": 98.4}})
    expect(watch.locator("#w-left-median-s")).to_have_text(">99")
    expect(watch.locator("#w-left-bound-s")).to_have_text("98")


@pytest.mark.parametrize(("apart_s", "words"), [(0.4, ""), (31_000.0, "8.6 h behind"), (-5.0, "5.0 s ahead")])
def test_a_source_whose_clock_is_off_is_said(watch: Page, apart_s: float, words: str) -> None:
    show(watch, SPIN)
    watch.evaluate(
        """s => { const state = spinfloor.link.state; state.time_ns = state.server_ns - 1e9 * (s + state.time_age_s);
          spinfloor.panels.update(); }""",
        apart_s,
    )
    expect(watch.locator("#w-clock")).to_have_text(words)
    expect(watch.locator("#w-clock-box")).to_be_visible(visible=bool(words))


def test_frames_that_come_late_are_no_clock_that_is_off(watch: Page) -> None:
    show(watch, {**SPIN, "data_late_s": 3.0})
    watch.evaluate(
        """() => { const state = spinfloor.link.state; state.time_ns = state.server_ns - 3.2e9; spinfloor.panels.update(); }"""
    )
    expect(watch.locator("#w-clock-box")).to_be_hidden()


def test_turns_taken_back_take_their_line_back(watch: Page) -> None:
    got = watch.evaluate(
        """state => {
          const height = spinfloor.height;
          height.forget();
          for (const [turns, altitude_ft] of [[1, 15000], [2, 14600], [6, 13000], [8, 12200], [3.1, 14100]])
            height.see(Object.assign({}, state, {turns, altitude_ft}));
          return height.path;
        }""",
        SPIN,
    )
    assert got == [[1, 15_000], [2, 14_600], [3.1, 14_100]]


def test_a_list_of_sorties_that_does_not_come_grows_old(watch: Page) -> None:
    watch.evaluate(
        """state => {
          const overview = spinfloor.overview;
          spinfloor.link.json = () => new Promise(() => {}); // the service hangs
          overview.sorties = [{id: "one", title: "One", state}];
          overview.fetchedMs = spinfloor.now() - 4000;
        }""",
        SPIN,
    )
    expect(watch.locator("#w-sorties")).to_contain_text("old: ")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"call": "recover", "reason": "bound: -117 ft, median -5 ft"}, "bound: \u2212117 ft, median \u22125 ft"),
        ({"call": "turn", "turns": 5.3, "planned_turns": 5.0, "reason": "whole turn: 5.3 turns"}, "5.3 of 5 planned turns"),
        ({"call": "turn", "turns": 1.0, "reason": "whole turn: 1.0 turns"}, "1.0 turns so far"),
    ],
)  # fmt: skip
def test_reasons(watch: Page, data: dict[str, Any], words: str) -> None:
    assert watch.evaluate("data => spinfloor.calls.reason({kind: 'call', data})", data) == words


def test_a_refusal_is_not_taken_away_by_events_that_were_fetched(watch: Page) -> None:
    tell = "([name, words]) => { for (const listener of spinfloor.link.listeners[name]) listener(words); }"
    watch.evaluate(tell, ["trouble", "Expected the role control."])
    watch.evaluate(tell, ["fetched", None])
    expect(watch.locator("#w-mark-answer")).to_have_text("Expected the role control.")
    watch.evaluate(tell, ["unfetched", "events could not be fetched: gone"])
    watch.evaluate(tell, ["fetched", None])
    expect(watch.locator("#w-mark-answer")).to_have_text("")


def test_an_alert_moves_nothing(watch: Page) -> None:
    watch.evaluate("() => { spinfloor.sound.armed = () => true; }")
    show(watch, {**SPIN, "link": "ok"})
    expect(watch.locator("#shell-alert")).to_be_hidden()
    places = """() => ["w-call", "w-turns", "w-left-bound-ft", "w-height", "w-age"].map(id => {
      const box = document.getElementById(id).getBoundingClientRect();
      return [box.left, box.top, box.height];
    })"""
    before = watch.evaluate(places)
    show(watch, {**SPIN, "link": "lost", "estimated": True})
    expect(watch.locator("#shell-alert")).to_be_visible()
    assert watch.evaluate(places) == before


def test_an_answer_to_a_key_is_not_cut_off_in_a_small_window(watch: Page) -> None:
    watch.evaluate("() => spinfloor.keys.answer('Acknowledge: recorded 17:33:25')")
    cut = "n => [n.scrollHeight - n.clientHeight, n.scrollWidth - n.clientWidth]"
    assert max(watch.locator("#w-mark-answer").evaluate(cut)) <= 1
