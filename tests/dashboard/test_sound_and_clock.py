"""Sound that comes and goes, a computer whose clock is wrong, and which silent calls are still worth a caution."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from tests.dashboard.flying import create
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import RunningService

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]


@pytest.fixture(scope="module")
def armed(browser: Browser, service: RunningService) -> Iterator[Page]:
    create(service, "sounding")
    visit = Visit(browser, service.base)
    page = visit.open("/?sortie=sounding")
    page.keyboard.press("s")
    page.wait_for_selector('#w-sound[data-sound="armed"]', timeout=PATIENCE_MS)
    yield page
    visit.close()


def test_a_call_that_the_browser_suspends_is_not_finished_when_the_sound_comes_back(armed: Page) -> None:
    armed.wait_for_function("() => !spinfloor.sound.current")
    reports, left = armed.evaluate(
        """async () => {
          const sound = spinfloor.sound;
          const reports = [];
          const before = sound.onreport;
          sound.onreport = (item, ms, reason) => reports.push([item.sequence, ms, reason]);
          sound.say({call: "caution", words: "data lost", sequence: 100, bornMs: spinfloor.now()});
          sound.say({call: "turn", words: "two", sequence: 101, bornMs: spinfloor.now()});
          const stopped = new Promise(done => sound.context.addEventListener("statechange", done, {once: true}));
          await sound.context.suspend();
          await stopped;
          const left = [sound.current, sound.queue.length];
          sound.say({call: "recover", words: "recover", sequence: 102, bornMs: spinfloor.now()});
          sound.onreport = before;
          await sound.context.resume();
          return [reports.filter(r => r[1] === null), left];
        }"""
    )
    assert left == [None, 0]
    assert [101, None, "the browser has suspended the sound"] in reports
    assert [102, None, "sound not armed"] in reports


def test_the_clock_shown_is_the_services_also_on_a_computer_five_minutes_off(
    browser: Browser, service: RunningService
) -> None:
    visit = Visit(browser, service.base)
    visit.page.add_init_script(
        """const origin = performance.timeOrigin + 300000, now = Date.now.bind(Date);
        Object.defineProperty(performance, "timeOrigin", {get: () => origin});
        Date.now = () => now() + 300000;"""
    )
    create(service, "clock")
    page = visit.open("/?sortie=clock")
    page.wait_for_function("() => /computer's is 300 s ahead/.test(document.getElementById('shell-clock').title)")
    shown, true_ms = page.evaluate("() => [spinfloor.clock.serverMs(), Date.now() - 300000]")
    assert shown == pytest.approx(true_ms, abs=2_000)
    visit.close()


def call(sequence: int, name: str, at_s: float) -> dict[str, Any]:
    return {"kind": "call", "sequence": sequence, "detected_ns": at_s * 1e9, "data": {"call": name, "words": name}}


@pytest.mark.parametrize(
    ("calls", "silent", "words"),
    [
        ([call(0, "chute", 90.0)], [0], "NO SCREEN HAS SOUNDED: chute."),
        ([call(0, "chute", 90.0), call(1, "abandon", 92.0)], [0], ""),  # abandon has sounded
        ([call(0, "chute", 90.0), call(1, "abandon", 92.0)], [0, 1], "NO SCREEN HAS SOUNDED: chute, abandon."),
        ([call(0, "chute", 90.0), call(1, "caution", 92.0)], [0], "NO SCREEN HAS SOUNDED: chute."),
        ([call(0, "chute", 90.0), call(1, "abandon", 99.0)], [0], "NO SCREEN HAS SOUNDED: chute."),  # may still be silent
        ([call(0, "recover", 30.0)], [0], ""),  # more than a minute ago
        ([], [7], "NO SCREEN HAS SOUNDED: 1 calls."),
    ],
)  # fmt: skip
def test_a_silent_call_is_told_until_a_higher_one_has_sounded(
    scripts: Page, calls: list[dict[str, Any]], silent: list[int], words: str
) -> None:
    told = scripts.evaluate(
        """([calls, silent]) => {
          const link = spinfloor.link;
          link.state = {calls_not_sounded: silent, time_ns: 100e9, time_age_s: 0};
          link.stateAtMs = spinfloor.now();
          link.events = calls;
          return spinfloor.unheard.anywhere();
        }""",
        [calls, silent],
    )
    assert told == words
