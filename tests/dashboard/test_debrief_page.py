"""Debrief, Programme and Rehearse on a flown programme, in a real browser on a real service."""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, expect
from tests.dashboard.flying import RECORDING, plan
from tests.dashboard.programme import FLIGHT, REHEARSAL
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = pytest.mark.browser


@pytest.fixture
def visit(browser: Browser, flown: RunningService) -> Iterator[Visit]:
    visiting = Visit(browser, flown.base)
    yield visiting
    assert visiting.errors == []
    assert {urlsplit(url).netloc for url in visiting.requests if url.startswith(("http", "ws"))} <= {
        urlsplit(flown.base).netloc
    }
    visiting.close()


def test_debrief_offers_sorties_and_leads_to_one_and_back(visit: Visit) -> None:
    page = visit.open("/debrief")
    expect(page.locator(".choice", has_text=FLIGHT)).to_be_visible()
    assert visit.serious_faults() == []
    page.locator(".choice", has_text=FLIGHT).click()
    expect(page.locator("#spin-table tbody tr")).to_have_count(2)
    page.go_back()
    expect(page.locator(".choice", has_text=FLIGHT)).to_be_visible()
    page.go_forward()
    expect(page.locator("#spin-table")).to_be_visible()


def test_the_spin_table_carries_the_services_numbers(visit: Visit, flown: RunningService) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    first = page.locator("#spin-table tbody tr").first
    row = flown.ask("GET", f"/v1/sorties/{FLIGHT}/spins")["spins"][0]
    expect(first).to_contain_text(f"{row['start_altitude_ft']:,.0f}")
    expect(first).to_contain_text(f"{row['recovery_turns']:.2f}")
    expect(first).to_contain_text(row["verdict"]["outcome"])
    expect(first).to_contain_text(row["verdict"]["clause"])
    expect(first).to_contain_text("below the floor")
    surprise = "<br><span class='badge'>surprise: recovery turns, altitude at level flight</span>"
    first.locator("td").nth(1).evaluate("(n, html) => n.insertAdjacentHTML('beforeend', html)", surprise)
    cut = page.locator("#spin-table").evaluate("n => n.scrollWidth - n.clientWidth")
    assert cut == 0  # the verdict, last in its line, is not cut off by the badges before it
    for figure in ("figure-rates", "figure-altitude", "figure-helix", "debrief-strip"):
        expect(page.locator(f"#{figure} .main-svg").first).to_be_visible()
    assert visit.serious_faults() == []


def test_a_deep_link_goes_to_its_moment_and_spin(visit: Visit, flown: RunningService) -> None:
    started = flown.ask("GET", f"/v1/sorties/{FLIGHT}/events?kind=spin.started")["events"]
    page = visit.open(f"/debrief?sortie={FLIGHT}&t={started[1]['time_ns']}")
    expect(page.locator("#spin-table tr.chosen")).to_contain_text("2")
    expect(page.locator("#moment-row")).to_be_visible()
    expect(page.get_by_role("heading", name="Spin 2")).to_be_visible()


def test_two_spins_are_compared(visit: Visit) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}&spin=1")
    page.get_by_role("link", name="spin 2", exact=True).click()
    expect(page.locator("#figure-compare .main-svg").first).to_be_visible()
    expect(page.locator("#debrief-body")).to_contain_text("Difference")
    assert visit.serious_faults() == []


@pytest.mark.parametrize(
    ("what", "form", "begins"),
    [
        ("spins", "csv", b'"sortie"'),
        ("events", "ndjson", b"{"),
        ("frames", "parquet", b"PAR1"),
        ("report", "pdf", b"%PDF-"),
    ],
)
def test_exports_are_real_files(visit: Visit, what: str, form: str, begins: bytes) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    expect(page.locator("#spin-table")).to_be_visible()
    if what != "report":
        page.locator(".exports summary").click()
    button = (
        page.get_by_role("button", name="Report, PDF")
        if what == "report"
        else page.locator(".exports .link-row", has_text=what.capitalize()).get_by_role("button", name=form, exact=True)
    )
    with page.expect_download() as waiting:
        button.click()
    path = waiting.value.path()
    assert path.read_bytes().startswith(begins)


@pytest.mark.parametrize(
    ("address", "says"),
    [
        (f"/debrief?sortie=nothing&sortie={FLIGHT}&spin=77&t=99999999999999999999&compare=-1", "Spins"),
        ("/programme?aircraft=nobody", "Expected an aircraft"),
        ("/rehearse?recording=nothing&sortie=nothing", "No score."),
        ("/plan?recording=nothing", "Expected a recording of the library"),
    ],
)
def test_an_address_that_leads_nowhere_is_a_sentence_and_no_defect(visit: Visit, address: str, says: str) -> None:
    page = visit.open(address)
    expect(page.locator("#page")).to_contain_text(says)
    expect(page.locator("#shell-fault")).to_be_hidden()


def test_a_sortie_nobody_knows_is_told(visit: Visit) -> None:
    page = visit.open("/debrief?sortie=nothing")
    expect(page.locator("#debrief-body")).to_contain_text("can't be shown")


def test_rehearse_shows_the_score_and_starts_a_rehearsal_with_faults(visit: Visit, flown: RunningService) -> None:
    page = visit.open(f"/rehearse?recording={RECORDING}&sortie={REHEARSAL}")
    expect(page.locator("#score-lines")).to_contain_text("recover")
    expect(page.locator("#rehearse-score")).to_contain_text("loss from 8 s to 12 s")
    over = """() => [...document.querySelectorAll("#score-lines td")].filter(cell => {
      const words = document.createRange();
      words.selectNodeContents(cell);
      return words.getBoundingClientRect().right > cell.getBoundingClientRect().right - 8;
    }).length"""
    assert page.evaluate(over) == 0  # no cell runs into the next
    assert visit.serious_faults() == []
    for words in ("Data lost", "Data late, s", "Gyro clipped at", "Bias of", "Channel stuck"):
        page.get_by_label(words, exact=True).check()
    page.get_by_label("Data lost: to, seconds; empty is to the end").fill("3")
    page.get_by_label("Bias of: how much").fill("-4.5")
    page.locator("#rehearse-crew").click()
    page.get_by_role("option", name="2 turns late").click()
    page.click("#rehearse-start")
    expect(page.locator(".watch")).to_be_visible()
    sortie = page.url.split("sortie=")[1]
    notes = next(s for s in flown.ask("GET", "/v1/sorties")["sorties"] if s["id"] == sortie)["notes"]
    assert notes["crew_response_turns"] == 2
    assert notes["faults"] == [
        {"kind": "loss", "from_s": 0.0, "to_s": 3.0},
        {"kind": "delay", "from_s": 0.0, "seconds": 2.0},
        {"kind": "clip", "from_s": 0.0, "channel": "yaw_rate_dps", "value": 100.0},
        {"kind": "bias", "from_s": 0.0, "channel": "yaw_rate_dps", "value": -4.5},
        {"kind": "stuck", "from_s": 0.0, "channel": "yaw_rate_dps"},
    ]


def test_a_rehearsal_is_run_as_a_team_and_its_score_sheet_names_tool_and_person(visit: Visit) -> None:
    page = visit.open(f"/rehearse?recording={RECORDING}")
    page.locator("#rehearse-speed").click()
    page.get_by_role("option", name="10", exact=True).click()
    page.click("#rehearse-start")
    expect(page.locator("#w-origin")).to_have_text(re.compile("REHEARSAL, NOT LIVE|DATA LOST|REPLAY ENDED"))
    page.wait_for_function("() => spinfloor.link.events.some(event => event.kind === 'spin.started')")
    page.keyboard.press("r")
    expect(page.locator("#w-mark-answer")).to_contain_text("Recover called: recorded")
    assert visit.serious_faults() == []
    expect(page.locator("#w-origin")).to_have_text("REPLAY ENDED")
    page.click("#w-replay-score")
    sheet = page.locator("#rehearse-score")
    expect(sheet).to_contain_text("played to its end")
    called = sheet.locator("tr", has_text="engineer")
    expect(called).to_have_count(1)
    expect(called).to_contain_text("recover")
    expect(called.locator("td").nth(6)).to_have_text(
        re.compile("^\u2212?[\\d,]+ \\(\u2212?[\\d,]+\\)$")
    )  # the margin at that moment


def test_a_word_for_a_number_of_a_fault_is_told(visit: Visit) -> None:
    page = visit.open(f"/rehearse?recording={RECORDING}")
    expect(page.locator("#rehearse-start")).to_be_enabled()
    page.get_by_label("Bias of", exact=True).check()
    page.get_by_label("Bias of: how much").fill("much")
    page.click("#rehearse-start")
    expect(page.locator("#rehearse-said")).to_contain_text("Expected a number for Bias of: how much")


def test_a_sortie_is_found_by_words_of_its_line(visit: Visit, flown: RunningService) -> None:
    for n in range(10):  # rehearsals: the programme stays as it is
        flown.ask("POST", f"/v1/sorties?id=many-{n}&kind=rehearsal", json={**plan(), "title": f"Sortie {n} of many"})
    page = visit.open("/debrief")
    expect(page.locator("#debrief-found-count")).to_have_text(re.compile(r"^1\d sorties$"))
    hour = "for (const one of document.querySelectorAll('.choice time')) one.textContent = '2026-11-29 17:20:37 UTC'"
    page.evaluate(hour)  # any hour the test runs at: 7 is a word of the line, not a figure inside a time
    page.get_by_label("Find").fill("MANY 7")
    expect(page.locator(".choice:visible")).to_have_count(1)
    expect(page.locator(".choice:visible")).to_contain_text("Sortie 7 of many")
    expect(page.locator("#debrief-found-count")).to_have_text(re.compile(r"^1 of 1\d sorties$"))
    page.get_by_label("Find").fill("17:20 2026-11 many-7")
    expect(page.locator(".choice:visible")).to_have_count(1)
    assert visit.serious_faults() == []


def test_a_note_is_added_after_the_flight_and_stays(visit: Visit) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}&spin=2")
    expect(page.locator("#note-about")).to_have_value("spin 2")
    page.click("#note-add")
    expect(page.locator("#note-said")).to_contain_text("got an empty field; nothing was noted")
    page.locator("#note-by").fill("test conductor")
    page.locator("#note-text").fill("flown with the second crew")
    page.click("#note-add")
    expect(page.locator("#note-list")).to_contain_text("flown with the second crew")
    expect(page.locator("#note-list")).to_contain_text("spin 2")
    expect(page.locator("#note-text")).to_have_value("")
    page.reload()
    expect(page.locator("#note-list")).to_contain_text("test conductor")
    assert visit.serious_faults() == []


def test_programme_and_its_sign_off(visit: Visit) -> None:
    page = visit.open("/programme")
    expect(page.locator("#programme-body")).to_contain_text(plan()["aircraft"]["name"])
    for figure in ("programme-recovery-turns", "programme-loss-ft", "programme-learnt"):
        expect(page.locator(f"#{figure} .main-svg").first).to_be_visible()
    gate = page.locator("tr", has_text="B9").first
    expect(gate).to_contain_text("closed")
    assert visit.serious_faults() == []
    page.get_by_role("button", name="Sign off").first.click()
    expect(page.locator("#programme-said")).to_contain_text("a reason in words")
    for left in (1, 0):
        page.get_by_label("Who (role)").first.fill("test conductor")
        page.get_by_label("Why the build-up may go on").first.fill("the floor was set too high on purpose")
        page.get_by_role("button", name="Sign off").first.click()
        expect(page.get_by_role("button", name="Sign off")).to_have_count(left)
    expect(gate).to_contain_text("open")


def test_what_a_recovery_taught_is_withdrawn_after_a_question_and_put_back(visit: Visit, flown: RunningService) -> None:
    def learnt() -> int:
        (aircraft,) = flown.ask("GET", "/v1/aircraft")["aircraft"]
        return len(flown.ask("GET", f"/v1/aircraft/{aircraft}/beliefs")["beliefs"]["evidence"])

    before = learnt()
    page = visit.open("/programme")
    listed, question = page.locator("#evidence-list"), page.locator("#evidence-question")
    expect(listed.locator("tbody tr")).to_have_count(before)
    page.get_by_role("button", name=f"Withdraw spin 1 of {FLIGHT}").click()
    expect(question).to_contain_text("the calls come later")
    assert visit.serious_faults() == []
    question.get_by_role("button", name="No").click()
    expect(question).to_be_hidden()
    page.get_by_role("button", name=f"Withdraw spin 1 of {FLIGHT}").click()
    question.get_by_role("button", name="Yes").click()
    expect(page.locator("#evidence-said")).to_contain_text("nothing was changed")
    assert learnt() == before
    question.get_by_label("Who (role)").fill("test engineer")
    question.get_by_label("Why").fill("flown with the aft loading")
    question.get_by_role("button", name="Yes").click()
    expect(listed).to_contain_text("by test engineer")
    expect(listed).to_contain_text("flown with the aft loading")
    expect(page.locator("#programme-said")).to_contain_text(f"Spin 1 of {FLIGHT} withdrawn by test engineer")
    assert learnt() == before - 1
    assert visit.serious_faults() == []
    page.get_by_role("button", name=f"Put back spin 1 of {FLIGHT}").click()
    question.get_by_label("Who (role)").fill("test engineer")
    question.get_by_label("Why").fill("the loading sheet was the wrong one")
    question.get_by_role("button", name=f"Yes, put back spin 1 of {FLIGHT}").click()
    expect(listed).not_to_contain_text("withdrawn")
    assert learnt() == before


def test_a_sortie_is_reprocessed_with_another_plan_and_the_differences_are_shown(visit: Visit) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    page.get_by_label("Changes to the plan").fill("floors: {recovery_ft")
    page.click("#rerun-start")
    expect(page.locator("#rerun-progress")).to_contain_text("nothing was reprocessed")
    page.get_by_label("Changes to the plan").fill("floors: {recovery_ft: 5500}")
    page.click("#rerun-start")
    expect(page.locator("#rerun-progress")).to_contain_text("100 %, done")
    assert visit.serious_faults() == []
    page.get_by_role("link", name="see the differences").click()
    expect(page.locator("#debrief-body")).to_contain_text("What differs")
    expect(page.locator("#debrief-body")).to_contain_text("reprocessed")


def test_every_flight_is_reprocessed_after_a_question_with_progress_and_the_flown_runs_stay(
    visit: Visit, flown: RunningService
) -> None:
    before = flown.ask("GET", f"/v1/sorties/{FLIGHT}/runs")
    page = visit.open("/programme")
    page.get_by_role("button", name="Reprocess 1 flight").first.click()
    sure = page.locator("#rerun-sure")
    expect(sure).to_contain_text("stays in force. Go on?")
    sure.get_by_role("button", name="No").click()
    expect(sure).to_be_hidden()
    page.get_by_label("Changes to the plan").fill("floors: {recovery_ft: 6000}")
    page.get_by_role("button", name="Reprocess 1 flight").first.click()
    sure.get_by_role("button", name="Yes, reprocess 1 flight").click()
    expect(sure).to_be_hidden()
    expect(page.locator("#rerun-progress")).to_contain_text("1 flight reprocessed, 0 the same, 1 different")
    assert visit.serious_faults() == []
    page.reload()  # what came out is still told
    expect(page.locator("#rerun-outcomes")).to_contain_text(FLIGHT)
    after = flown.ask("GET", f"/v1/sorties/{FLIGHT}/runs")
    assert after["current"] == before["current"]
    assert len(after["runs"]) >= len(before["runs"])
    page.locator("#rerun-outcomes").get_by_role("link", name="see the differences").click()
    expect(page.locator("#debrief-runs")).to_contain_text("What differs")


def test_an_archive_goes_out_and_comes_in_elsewhere_with_its_progress(
    visit: Visit, browser: Browser, tmp_path: Path
) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    page.locator(".exports summary").click()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="zip: plan").click()
    archive = tmp_path / f"{FLIGHT}.zip"
    waiting.value.save_as(archive)
    broken = tmp_path / "broken.zip"
    broken.write_bytes(archive.read_bytes()[:-500])
    with RunningService(tmp_path / "elsewhere") as elsewhere:
        other = Visit(browser, elsewhere.base)
        there = other.open("/debrief")
        expect(there.locator("#debrief-body")).to_contain_text("No sortie yet.")
        there.set_input_files("#archive-import input", broken)
        expect(there.locator("#archive-import")).to_contain_text("Not brought in: Expected")
        there.set_input_files("#archive-import input", archive)
        expect(there.locator("#archive-import")).to_contain_text(f"Brought in: {FLIGHT}")
        there.get_by_role("link", name=FLIGHT).click()
        expect(there.locator("#spin-table tbody tr")).to_have_count(2)
        other.close()
