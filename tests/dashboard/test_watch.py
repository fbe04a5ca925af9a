"""Watch against a real service, a real sender and a real browser."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.dashboard.extreme import EXTREME
from tests.dashboard.flying import RECORDING, create, send, stretch
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import RunningService
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]
SOON_MS = PATIENCE_MS


def arm(page: Page) -> None:
    expect(page.locator("#w-sound")).to_have_attribute("data-sound", "off")
    page.keyboard.press("s")
    expect(page.locator("#w-sound")).to_have_attribute("data-sound", "armed", timeout=SOON_MS)


@pytest.fixture(scope="module")
def flown(browser: Browser, service: RunningService, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visit]:
    """A page, armed, that watched a spin until its telemetry ended in the spin."""
    create(service, "spin")
    visit = Visit(browser, service.base)
    page = visit.open("/?sortie=spin")
    arm(page)
    sender = send(service, "spin", stretch(tmp_path_factory.mktemp("r"), 3.0, 12.6), speed=1.0)
    expect(page.locator("#w-call")).to_have_attribute("data-call", "recover", timeout=PATIENCE_MS)
    yield visit
    sender.wait(timeout=PATIENCE_MS / 1000)
    page.close()


def events(service: RunningService, sortie: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = service.ask("GET", f"/v1/sorties/{sortie}/events")["events"]
    return found


def test_a_recover_call_is_heard(flown: Visit, service: RunningService) -> None:

    def reports() -> list[dict[str, Any]]:
        calls = {e["sequence"] for e in events(service, "spin") if e["data"].get("call") == "recover"}
        records = service.ask("GET", "/v1/sorties/spin/audit")["records"]
        return [r["data"] for r in records if r["action"] == "sounded" and r["data"]["sequence"] in calls]

    sounded = wait_for(reports, seconds=PATIENCE_MS / 1000, what="the report that a recover call sounded")
    # The browser reports only when the samples on their way to the loudspeaker were measured not to be silent.
    assert 0.0 < sounded[0]["latency_ms"] < 2000.0
    assert flown.page.evaluate("() => spinfloor.sound.peakSinceArmed") > 0.05
    expect(flown.page.locator("#w-log li.recover").first).to_contain_text("recover")


def test_state_turns_and_altitude_left_in_words_and_figures(flown: Visit) -> None:
    page = flown.page
    expect(page.locator("#w-phase")).to_have_text(re.compile("incipient spin|developed spin"))
    expect(page.locator("#w-kind")).to_have_text("upright left")
    expect(page.locator("#w-planned")).to_have_text("of 3")
    assert float(page.locator("#w-turns").inner_text()) > 1.8  # they go on being estimated when the telemetry ends
    assert re.fullmatch("\u2212?[\\d,]+", page.locator("#w-left-bound-ft").inner_text())
    expect(page.locator("#w-origin")).to_have_text(re.compile("LIVE|DATA LOST"))


def test_data_lost_in_the_spin_is_estimated_and_said(flown: Visit) -> None:
    page = flown.page
    expect(page.locator("#w-origin")).to_have_text("DATA LOST", timeout=SOON_MS)
    expect(page.locator("#w-turns-cell .estimate-tag")).to_be_visible(timeout=SOON_MS)
    expect(page.locator("#shell-alert")).to_contain_text("DATA LOST")
    expect(page.locator("#w-log")).to_contain_text("data lost")
    expect(page.locator("#page")).to_have_attribute("data-live", "yes")


def test_the_strips_draw_and_the_minute_is_there(flown: Visit) -> None:
    page = flown.page
    assert page.locator(".strip-plot .uplot canvas").count() == 6
    before = page.evaluate("() => spinfloor.strips.redraws")
    page.wait_for_function("before => spinfloor.strips.redraws > before + 5", arg=before)


def test_nothing_came_from_elsewhere_and_nothing_complained(flown: Visit) -> None:
    own = flown.base.removeprefix("http://")
    foreign = [
        url for url in flown.requests if not url.startswith((f"http://{own}/", f"ws://{own}/", "blob:", "data:"))
    ]
    assert foreign == []
    assert flown.errors == []


def test_axe_finds_nothing_serious_in_a_spin(flown: Visit) -> None:
    assert flown.serious_faults() == []


def test_server_killed_greys_everything_and_comes_back(flown: Visit, service: RunningService) -> None:
    page = flown.page
    before = len(flown.errors)
    service.kill()
    expect(page.locator("#page")).to_have_attribute("data-live", "no", timeout=SOON_MS)
    expect(page.locator("#w-origin")).to_have_text("SERVER LOST", timeout=SOON_MS)
    expect(page.locator("#shell-alert")).to_contain_text("SERVER CONNECTION LOST")
    tag = page.locator("#w-left-cell .age-tag")
    expect(tag).to_be_visible()
    said = tag.inner_text()
    assert said.startswith("OLD: ")
    expect(tag).not_to_have_text(said)  # the age goes on growing
    expect(page.locator("#w-control")).to_have_text("not known, server lost")
    assert flown.serious_faults() == []
    colour = page.locator("#w-left-bound-ft").evaluate("node => getComputedStyle(node).color")
    assert colour == "rgb(124, 138, 146)"
    service.start()
    expect(page.locator("#shell-alert")).not_to_contain_text("SERVER CONNECTION LOST", timeout=SOON_MS)
    page.wait_for_function("() => spinfloor.link.open && spinfloor.link.sequence >= 0", timeout=SOON_MS)
    journalled = [event["sequence"] for event in events(service, "spin")]
    page.wait_for_function(
        "last => spinfloor.link.events.length && spinfloor.link.sequence >= last", arg=journalled[-1], timeout=SOON_MS
    )
    held = page.evaluate("() => spinfloor.link.events.map(event => event.sequence)")
    assert held[: len(journalled)] == journalled
    lost, flown.errors[before:] = flown.errors[before:], []  # what a browser says of a server that is gone
    assert [error for error in lost if "net::ERR_" not in error and "WebSocket" not in error] == []


def test_no_sortie_is_said(visit: Visit) -> None:
    page = visit.open("/?sortie=not-there")
    expect(page.locator("#w-call-words")).to_have_text("NO CALL YET")
    expect(page.locator("#page")).to_have_attribute("data-live", "no")
    expect(page.locator("#w-phase")).to_have_text("no data yet")
    expect(page.locator("#w-origin")).to_have_text("NO SUCH SORTIE")
    expect(page.locator("#shell-alert")).to_contain_text("NO SUCH SORTIE: not-there")
    expect(page.locator("#shell-alert")).not_to_contain_text("SERVER CONNECTION LOST")
    assert visit.serious_faults() == []


def test_no_data_yet_and_sound_not_armed_cannot_be_overlooked(visit: Visit, service: RunningService) -> None:
    create(service, "waiting")
    page = visit.open("/?sortie=waiting")
    expect(page.locator("#w-origin")).to_have_text("NO DATA YET", timeout=SOON_MS)
    expect(page.locator("#w-age")).to_have_text("no data")
    expect(page.locator("#shell-alert")).to_contain_text("SOUND NOT ARMED")
    expect(page.locator("#w-turns")).to_have_text("-")
    assert visit.serious_faults() == []
    assert visit.errors == []


def test_marks_and_calls_by_single_keys(visit: Visit, service: RunningService, tmp_path: Path) -> None:
    create(service, "keys")
    page = visit.open("/?sortie=keys")
    arm(page)
    assert send(service, "keys", stretch(tmp_path, 0.0, 4.0), speed=0).wait(timeout=PATIENCE_MS / 1000) == 0
    page.keyboard.press("c")
    expect(page.locator("#w-mark-answer")).to_contain_text("Controls applied: recorded", timeout=SOON_MS)
    page.keyboard.press("n")
    page.locator("#w-note input").fill("c r h b: letters in a note are no keys")
    page.keyboard.press("Enter")
    expect(page.locator("#w-mark-answer")).to_contain_text("Note: recorded", timeout=SOON_MS)
    page.keyboard.press("b")
    expect(page.locator("#w-call")).to_have_attribute("data-call", "abandon", timeout=SOON_MS)
    expect(page.locator("#w-call-words")).to_contain_text("called by engineer")
    expect(page.locator("#w-call-heard")).to_contain_text("heard in", timeout=SOON_MS)
    page.keyboard.press("k")
    expect(page.locator("#w-mark-answer")).to_contain_text("Acknowledge: recorded", timeout=SOON_MS)
    marks = [event["data"] for event in events(service, "keys") if event["kind"] == "mark"]
    assert [mark["mark"] for mark in marks] == ["controls_applied", "note", "call_made", "acknowledge"]
    assert {mark["by"] for mark in marks} == {"engineer"}
    assert marks[1]["text"].startswith("c r h b")
    assert visit.errors == []


def test_every_button_shows_its_key_and_keys_are_single(visit: Visit) -> None:
    page = visit.open("/")
    shown = page.locator(".watch button[data-key]").evaluate_all(
        "nodes => nodes.map(n => [n.dataset.key, n.querySelector('kbd').textContent.toLowerCase()])"
    )
    assert len(shown) >= 9
    assert all(key == words for key, words in shown)
    assert len({key for key, _ in shown}) == len(shown)


def test_a_higher_call_cuts_off_a_lower_one(visit: Visit) -> None:
    page = visit.open("/")
    arm(page)
    got = page.evaluate(
        """async () => {
          const sound = spinfloor.sound;
          while (sound.current) await new Promise(r => setTimeout(r, 20));
          const reports = [];
          sound.onreport = (item, ms, reason) => reports.push([item.sequence, ms === null ? null : "heard", reason]);
          const say = (call, words, sequence) => sound.say({call, words, sequence, bornMs: spinfloor.now()});
          say("turn", "one hundred and five", 1);
          say("abandon", "abandon", 2);
          const current = sound.current.item.sequence;
          say("turn", "six", 3);
          say("caution", "flattening", 4);
          while (sound.current) await new Promise(r => setTimeout(r, 20));
          return [current, reports];
        }"""
    )
    assert got[0] == 2
    reports = {sequence: (heard, reason) for sequence, heard, reason in got[1]}
    assert reports[1] == (None, "cut off by a higher call")
    assert reports[2] == ("heard", "")
    assert reports[3][0] is None  # a turn call is not worth saying a second late
    assert reports[4] == ("heard", "")


def test_words_without_a_recording_sound_as_tone_and_say_so(visit: Visit) -> None:
    page = visit.open("/")
    arm(page)
    got = page.evaluate(
        """async () => {
          const sound = spinfloor.sound;
          while (sound.current) await new Promise(r => setTimeout(r, 20));
          return await new Promise(done => {
            sound.onreport = (item, ms, reason) => done([ms !== null, reason]);
            sound.say({call: "recover", words: "zwiebel", sequence: 1, bornMs: spinfloor.now()});
          });
        }"""
    )
    assert got == [True, "tone only, no recording of the words"]


def test_old_calls_are_not_spoken(visit: Visit) -> None:
    page = visit.open("/")
    arm(page)
    got = page.evaluate(
        """() => {
          const reports = [];
          spinfloor.sound.onreport = (item, ms, reason) => reports.push([ms, reason]);
          spinfloor.sound.say({call: "recover", words: "recover", sequence: 1, bornMs: spinfloor.now() - 2500});
          return reports;
        }"""
    )
    assert got == [[None, "arrived too old to say"]]


def test_a_second_screen_is_read_only_while_the_first_holds_control(
    visit: Visit, browser: Browser, service: RunningService
) -> None:
    create(service, "two")
    first = visit.open("/?sortie=two")
    expect(first.locator("#w-control")).to_contain_text("nobody, 1 watching", timeout=SOON_MS)
    first.keyboard.press("t")
    expect(first.locator("#w-control")).to_contain_text("engineer (you)", timeout=SOON_MS)
    other = Visit(browser, service.base)
    second = other.open("/?sortie=two")
    expect(second.locator("#w-control")).to_contain_text("READ-ONLY here, 2 watching", timeout=SOON_MS)
    second.keyboard.press("c")
    expect(second.locator("#w-mark-answer")).to_contain_text("Read-only")
    assert other.serious_faults() == []
    second.keyboard.press("t")
    expect(second.locator("#w-mark-answer")).to_contain_text("engineer holds control. Press T again")
    second.wait_for_timeout(500)  # two presses closer than 0.4 s are one
    expect(second.locator("#w-control")).to_contain_text("READ-ONLY here")
    second.keyboard.press("t")
    expect(second.locator("#w-control")).to_contain_text("(you)", timeout=SOON_MS)
    expect(first.locator("#w-control")).to_contain_text("READ-ONLY", timeout=SOON_MS)
    other.close()
    assert not [e for e in events(service, "two") if e["kind"] == "mark"]


def choose(page: Page, sortie: str) -> None:
    """By its box or, where one that gets data takes the room, in the list of the others."""
    box, listed = (
        page.locator(f'.chip[data-sortie="{sortie}"]'),
        page.locator(f'#w-other-sorties option[value="{sortie}"]'),
    )
    expect(box.or_(listed)).to_be_attached(timeout=SOON_MS)
    if box.count():
        box.click()
    else:
        page.select_option("#w-other-sorties", sortie)


def test_several_sorties_in_one_row_and_history_works(visit: Visit, service: RunningService) -> None:
    create(service, "north")
    create(service, "south")
    page = visit.open("/?sortie=north")
    expect(page.locator('.chip[data-sortie="north"]')).to_have_attribute("aria-current", "true", timeout=SOON_MS)
    choose(page, "south")
    expect(page).to_have_url(re.compile("sortie=south"))
    expect(page.locator('.chip[data-sortie="south"]')).to_have_attribute("aria-current", "true", timeout=SOON_MS)
    page.go_back()
    expect(page.locator('.chip[data-sortie="north"]')).to_have_attribute("aria-current", "true", timeout=SOON_MS)
    assert visit.errors == []


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080)])
def test_everything_fits_and_the_glance_is_large(
    browser: Browser, service: RunningService, width: int, height: int
) -> None:
    visit = Visit(browser, service.base, width, height)
    page = visit.open("/")
    page.evaluate(
        """async state => {
          await document.fonts.ready;
          const link = spinfloor.link;
          link.watch("");
          spinfloor.panels.trust = () => ({silent: false, none: false, estimated: true, ageS: 0.1, live: true});
          link.state = state;
          spinfloor.panels.update();
        }""",
        EXTREME,
    )
    assert page.evaluate(
        "() => { const page = document.documentElement;"
        " return page.scrollHeight <= innerHeight && page.scrollWidth <= innerWidth; }"
    )
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.glance-word, .glance-kind, .turn-line, .left-table td, #w-age, .keys')]
          .filter(n => n.scrollWidth > n.clientWidth + 1).map(n => n.id || n.className)"""
    )
    assert cut == []
    # 20 minutes of arc at 2 m on a window 300 mm high: docs/decisions/watch-screen.md
    glance = ["w-phase", "w-kind", "w-mode", "w-turns", "w-left-bound-ft", "w-left-median-ft", "w-call-words"]
    sizes = page.evaluate(
        """ids => Object.fromEntries(ids.map(id =>
          [id, parseFloat(getComputedStyle(document.getElementById(id)).fontSize) / innerHeight]))""",
        glance,
    )
    assert min(sizes.values()) >= 0.0555, sizes
    page.close()


def test_calls_not_heard_in_time_are_counted_and_listed_alone(visit: Visit, service: RunningService) -> None:
    create(service, "unheard")
    page = visit.open("/?sortie=unheard")
    expect(page.locator("#w-origin")).to_have_text("NO DATA YET", timeout=SOON_MS)
    expect(page.locator("#w-unheard")).to_be_hidden()
    page.locator("#w-say-recover").click()  # by mouse, sound not armed
    expect(page.locator("#w-unheard")).to_contain_text("1 not heard in 0.5 s", timeout=SOON_MS)
    expect(page.locator("#shell-alert")).to_contain_text("CALL NOT HEARD IN TIME: recover (sound not armed)")
    page.locator("#w-mark-controls_applied").click()
    expect(page.locator("#w-log")).to_contain_text("controls applied", timeout=SOON_MS)
    page.keyboard.press("u")
    expect(page.locator("#w-log li")).to_have_count(1, timeout=SOON_MS)
    expect(page.locator("#w-log")).to_contain_text("sound not armed")
    assert visit.serious_faults() == []
    page.wait_for_function("since => performance.now() - since > 1000", arg=page.evaluate("performance.now()"))
    page.keyboard.press("u")  # sooner, it would be taken for a press that bounced
    expect(page.locator("#w-log")).to_contain_text("controls applied", timeout=SOON_MS)
    moment = page.locator("#w-log li a").first
    assert moment.get_attribute("target") == "_blank"  # leaving Watch would silence it
    assert "local" in (moment.locator("time").get_attribute("title") or "")


def test_words_of_the_plan_without_a_recording_are_named_when_armed(visit: Visit, service: RunningService) -> None:
    create(service, "words", recover="zwiebel")
    page = visit.open("/?sortie=words")
    page.wait_for_function("() => spinfloor.link.info", timeout=SOON_MS)
    arm(page)
    expect(page.locator("#w-mark-answer")).to_contain_text("No recording of: zwiebel", timeout=SOON_MS)


def test_a_low_volume_is_said_and_none_is_not_to_be_had(visit: Visit) -> None:
    page = visit.open("/")
    arm(page)
    page.get_by_label("Volume").fill("40")
    expect(page.locator("#w-sound-words")).to_have_text("SOUND ARMED 40 %, LOW")
    assert page.get_by_label("Volume").get_attribute("min") == "40"


def test_control_of_one_sortie_is_none_of_another(visit: Visit, service: RunningService) -> None:
    create(service, "held")
    create(service, "free")
    page = visit.open("/?sortie=held")
    expect(page.locator("#w-control")).to_contain_text(
        "nobody, 1 watching", timeout=SOON_MS
    )  # the key is there with it
    page.keyboard.press("t")
    expect(page.locator("#w-control")).to_contain_text("engineer (you)", timeout=SOON_MS)
    choose(page, "free")
    page.wait_for_function("() => spinfloor.link.state && spinfloor.link.state.sortie === 'free'", timeout=SOON_MS)
    expect(page.locator("#w-control")).to_have_text("nobody, 1 watching", timeout=SOON_MS)
    page.wait_for_function("since => spinfloor.link.stateAtMs > since + 1500", arg=page.evaluate("spinfloor.now()"))
    expect(page.locator("#w-control")).to_have_text("nobody, 1 watching")
    taken = [r for r in service.ask("GET", "/v1/sorties/free/audit")["records"] if r["action"] == "control"]
    assert taken == []


def test_keys_work_after_the_volume_was_moved(visit: Visit, service: RunningService) -> None:
    create(service, "moved")
    page = visit.open("/?sortie=moved")
    page.wait_for_function("() => spinfloor.link.state", timeout=SOON_MS)
    page.get_by_label("Volume").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("c")
    expect(page.locator("#w-mark-answer")).to_contain_text("Controls applied: recorded", timeout=SOON_MS)


def test_a_key_pressed_on_the_list_of_cards_is_the_key_of_its_call(visit: Visit, service: RunningService) -> None:
    """Somebody looked at the list of cards and left it: B is abandon, and no card beginning with B."""
    create(service, "cards")
    page = visit.open("/?sortie=cards")
    expect(page.locator("#w-card option")).not_to_have_count(0, timeout=SOON_MS)
    page.locator("#w-card").focus()
    page.keyboard.press("b")
    expect(page.locator("#w-mark-answer")).to_contain_text("Abandon called: recorded", timeout=SOON_MS)
    marks = [event["data"]["mark"] for event in events(service, "cards") if event["kind"] == "mark"]
    assert marks == ["call_made"]


def test_a_name_left_half_typed_gives_the_keys_back(visit: Visit) -> None:
    page = visit.open("/")
    page.clock.install()
    name = page.locator(".by input")
    name.click()
    page.clock.run_for(9_000)
    expect(name).to_be_focused()
    page.clock.run_for(2_000)
    expect(name).not_to_be_focused()


def test_a_read_only_screen_moves_no_replay(visit: Visit, browser: Browser, service: RunningService) -> None:
    replay = service.ask("POST", "/v1/replays", json={"recording": RECORDING, "position_s": 5.0, "paused": True})
    first = visit.open(f"/?sortie={replay['sortie']}")
    expect(first.locator("#w-control")).to_contain_text(
        "nobody, 1 watching", timeout=SOON_MS
    )  # the key is there with it
    first.keyboard.press("t")
    expect(first.locator("#w-control")).to_contain_text("engineer (you)", timeout=SOON_MS)
    other = Visit(browser, service.base)
    second = other.open(f"/?sortie={replay['sortie']}")
    expect(second.locator("#w-control")).to_contain_text("READ-ONLY here", timeout=SOON_MS)
    expect(second.locator("#w-replay-pause")).to_have_class(re.compile("locked"), timeout=SOON_MS)
    expect(second.locator("#w-origin")).to_have_text("REPLAY PAUSED", timeout=SOON_MS)  # which is no caution
    expect(second.locator("#w-origin")).not_to_have_class(re.compile("caution"))
    expect(second.locator("#w-age-box")).not_to_have_class(re.compile("caution"))
    second.keyboard.press("p")
    expect(second.locator("#w-mark-answer")).to_contain_text("Read-only: engineer holds control")
    assert service.ask("GET", f"/v1/replays/{replay['id']}")["state"] == "paused"
    first.keyboard.press("p")
    expect(first.locator("#w-replay-pause")).to_contain_text("Pause", timeout=SOON_MS)
    other.close()
    service.ask("DELETE", f"/v1/replays/{replay['id']}")
