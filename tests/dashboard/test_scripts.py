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
        ({"link": "none yet", "data_age_s": None, "estimated": False}, True, 0, {"live": False, "none": True}),
        (None, True, 0, {"live": False, "none": True}),
    ],
)
def test_what_may_be_believed(
    scripts: Page, state: dict[str, Any] | None, is_open: bool, silent_ms: int, expected: dict[str, bool]
) -> None:
    trust = scripts.evaluate(TRUST, [state, is_open, silent_ms])
    assert {key: trust[key] for key in expected} == expected


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
