"""The screens' scripts without a service: spoken numbers, clock offset, what may be believed."""

from typing import Any

import pytest
from playwright.sync_api import Page

from spinfloor_dashboard.sound_words import normalise, shipped_phrases

pytestmark = pytest.mark.browser


def sequence(page: Page, words: str) -> list[str] | None:
    phrases = {phrase: phrase for phrase in shipped_phrases()}
    clips: list[str] | None = page.evaluate(
        "([p, w]) => { spinfloor.clips.phrases = p; return spinfloor.clips.sequence(w); }", [phrases, words]
    )
    return clips


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("recover", ["recover"]),
        ("Recover!", ["recover"]),
        ("data lost", ["data lost"]),
        ("twenty", ["twenty"]),
        ("twenty-one", ["twenty", "one"]),
        ("21", ["twenty", "one"]),
        ("one hundred and five", ["one", "hundred", "and", "five"]),
        ("305", ["three", "hundred", "five"]),
        ("2.5 turns", ["two", "point", "five", "turns"]),
        ("1000", ["one", "zero", "zero", "zero"]),
    ],
)
def test_words_become_clips(scripts: Page, words: str, said: list[str]) -> None:
    assert sequence(scripts, words) == said


@pytest.mark.parametrize("words", ["", "   ", "zwiebel", "recover zwiebel"])
def test_words_without_a_recording_are_not_half_spoken(scripts: Page, words: str) -> None:
    assert sequence(scripts, words) is None


def test_the_longest_recorded_phrase_wins(scripts: Page) -> None:
    assert normalise("Spinning again") in shipped_phrases()
    assert sequence(scripts, "spinning again") == ["spinning again"]


def test_clock_offset_is_the_least_delay_seen(scripts: Page) -> None:
    got = scripts.evaluate(
        """() => {
          const clock = spinfloor.clock; clock.reset();
          const real = spinfloor.now;
          let sent = 0; // the server's clock is 5,000 ms behind; messages take 300, 40, 220 ms
          for (const delay of [300, 40, 220]) {
            spinfloor.now = () => sent + 5000 + delay;
            clock.see(sent * 1e6);
            sent += 400;
          }
          spinfloor.now = real;
          return clock.toBrowser(0);
        }"""
    )
    # The least delay, 40 ms, cannot be told from the skew; the error is that and no more.
    assert got == pytest.approx(5040.0, abs=1e-6)


def test_a_server_clock_set_back_does_not_make_calls_old(scripts: Page) -> None:
    got = scripts.evaluate(
        """() => {
          const clock = spinfloor.clock; clock.reset();
          clock.see(spinfloor.now() * 1e6);
          clock.see((spinfloor.now() - 60000) * 1e6);
          return spinfloor.now() - clock.toBrowser((spinfloor.now() - 60000) * 1e6);
        }"""
    )
    assert abs(got) < 5.0


TRUST = """([state, open, silentMs]) => {
  const link = spinfloor.link;
  link.state = state; link.open = open;
  link.stateAtMs = link.lastMessageMs = spinfloor.now() - silentMs;
  return spinfloor.panels.trust();
}"""


@pytest.mark.parametrize(
    ("state", "is_open", "silent_ms", "expected"),
    [
        ({"link": "ok", "data_age_s": 0.1, "estimated": False}, True, 0, {"live": True, "silent": False}),
        ({"link": "ok", "data_age_s": 0.1, "estimated": False}, True, 1500, {"live": False, "silent": True}),
        ({"link": "ok", "data_age_s": 0.1, "estimated": False}, False, 0, {"live": False, "silent": True}),
        ({"link": "ok", "data_age_s": 3.0, "estimated": False}, True, 0, {"live": False, "silent": False}),
        ({"link": "lost", "data_age_s": 0.8, "estimated": False}, True, 0, {"live": False}),
        ({"link": "lost", "data_age_s": 9.0, "estimated": True}, True, 0, {"live": True, "estimated": True}),
        ({"link": "lost", "data_age_s": 9.0, "time_age_s": 0.1, "estimated": True}, True, 0, {"live": True}),
        (  # level, nothing is carried on any more
            {"link": "lost", "data_age_s": 9.0, "time_age_s": 8.5, "estimated": True},
            True,
            0,
            {"live": False, "estimated": False},
        ),
        (
            {"link": "ok", "data_age_s": 2.1, "data_late_s": 2.0, "estimated": False},
            True,
            0,
            {"live": False, "lateS": 2},
        ),
        ({"link": "none yet", "data_age_s": None, "estimated": False}, True, 0, {"live": False, "none": True}),
        (None, True, 0, {"live": False, "none": True}),
    ],
)
def test_what_may_be_believed(
    scripts: Page, state: dict[str, Any] | None, is_open: bool, silent_ms: int, expected: dict[str, bool]
) -> None:
    trust = scripts.evaluate(TRUST, [state, is_open, silent_ms])
    assert {key: trust[key] for key in expected} == expected


def test_a_page_just_opened_is_connecting_and_has_lost_nothing(scripts: Page) -> None:
    trust = scripts.evaluate(
        """() => { const link = spinfloor.link; link.open = false; link.stateAtMs = link.lostMs = 0;
          return spinfloor.panels.trust(); }"""
    )
    assert (trust["silent"], trust["lost"]) == (True, False)


def test_a_call_read_from_the_journal_is_as_old_as_it_is(scripts: Page) -> None:
    """The data ended 100 s ago, the call came 2 s before its end: 102 s, not 2."""
    age_s = scripts.evaluate(
        """() => {
          const link = spinfloor.link;
          link.state = {time_ns: 50e9, time_age_s: 100};
          link.stateAtMs = spinfloor.now();
          spinfloor.calls.history([{kind: "call", sequence: 0, run: "r", time_ns: 48e9, detected_ns: 48e9,
            data: {call: "recover", words: "recover", reason: "planned turns"}}]);
          spinfloor.calls.choose();
          return (spinfloor.now() - spinfloor.calls.shown.atMs) / 1000;
        }"""
    )
    assert age_s == pytest.approx(102.0, abs=0.5)


def test_degraded_data_names_its_channels(scripts: Page) -> None:
    words = scripts.evaluate(
        """() => {
          const quality = (sequence, channel, flag, state) => ({kind: "quality", sequence, data: {channel, flag, state}});
          const degraded = "data degraded";
          const call = {kind: "call", sequence: 4, data: {words: degraded, reason: degraded, reason_code: degraded}};
          spinfloor.link.events = [quality(0, "alpha_deg", "clipped", "on"), quality(1, "yaw_rate_dps", "stuck", "on"),
            quality(2, "alpha_deg", "clipped", "off"), quality(3, "pressure_altitude_ft", "wild", "on"), call,
            quality(5, "roll_rate_dps", "stuck", "on")];
          return spinfloor.calls.reason(call);
        }"""
    )
    assert words == "yaw rate stuck, pressure altitude wild"


def test_age_goes_on_growing_without_messages(scripts: Page) -> None:
    trust = scripts.evaluate(TRUST, [{"link": "ok", "data_age_s": 0.25, "estimated": False}, True, 12_000])
    assert trust["ageS"] == pytest.approx(12.25, abs=0.1)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.04, "0.0 s"), (9.94, "9.9 s"), (12.4, "12 s"), (125.0, "2 min 05 s"), (None, "-")],
)
def test_ages_in_words(scripts: Page, seconds: float | None, words: str) -> None:
    assert scripts.evaluate("s => spinfloor.panels.age(s)", seconds) == words


def test_sound_not_armed_reports_every_call(scripts: Page) -> None:
    got = scripts.evaluate(
        """() => {
          const reports = [];
          spinfloor.sound.onreport = (item, ms, reason) => reports.push([item.sequence, ms, reason]);
          spinfloor.sound.say({call: "recover", words: "recover", sequence: 4, bornMs: spinfloor.now()});
          return reports;
        }"""
    )
    assert got == [[4, None, "sound not armed"]]


def test_volume_cannot_reach_zero(scripts: Page) -> None:
    assert scripts.evaluate("() => { spinfloor.sound.setVolume(0); return spinfloor.sound.volume; }") == pytest.approx(
        0.4
    )


SPIN = {
    "in_spin": True, "link": "lost", "phase": "developed", "turns": 5.0, "estimated": True, "time_ns": 100e9,
    "altitude_left_ft": {"bound": -2000.0}, "last_call": {"data": {"call": "abandon", "words": "abandon"}, "detected_ns": 99e9},
}  # fmt: skip


@pytest.mark.parametrize(
    ("state", "alive", "first"),
    [
        (None, False, "not live"),
        ({"link": "none yet"}, False, "no data yet"),
        ({**SPIN, "time_age_s": 0.2}, True, "abandon"),
        ({**SPIN, "time_age_s": 60.0}, False, "data lost"),  # carried down to the ground, over
        ({**SPIN, "in_spin": False, "phase": "flight", "time_age_s": 60.0}, False, "data lost"),
    ],
)
def test_another_sortie_in_short(scripts: Page, state: dict[str, Any] | None, alive: bool, first: str) -> None:
    words, lives = scripts.evaluate(
        "state => [spinfloor.overview.describe(state, false)[0][0], spinfloor.overview.alive({state})]", state
    )
    assert (words, lives) == (first, alive)
