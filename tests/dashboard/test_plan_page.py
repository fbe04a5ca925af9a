"""Plan: a newcomer's way from nothing to a sortie, in a real browser on a real service."""

import json
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import yaml
from playwright.sync_api import Browser, Page, expect
from tests.dashboard.flying import RECORDING, plan
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = pytest.mark.browser


@pytest.fixture
def visit(browser: Browser, service: RunningService) -> Iterator[Visit]:
    visiting = Visit(browser, service.base)
    yield visiting
    assert visiting.errors == []
    assert {urlsplit(url).netloc for url in visiting.requests if url.startswith(("http", "ws"))} <= {
        urlsplit(service.base).netloc
    }
    visiting.close()


def open_with_plan(visit: Visit) -> Page:
    page = visit.open(f"/plan?recording={RECORDING}")
    expect(page.locator("#plan-state")).to_have_text("checked, no fault")
    return page


def fill(page: Page, label: str, value: str) -> None:
    box = page.get_by_label(label, exact=True)
    box.fill(value)
    box.press("Enter")


def test_an_empty_plan_lists_what_is_missing_and_cannot_be_flown(visit: Visit) -> None:
    page = visit.open("/plan")
    expect(page.locator("#plan-state")).to_contain_text("fault")
    expect(page.locator("#plan-fault-list")).to_contain_text("floors.recovery_ft")
    expect(page.locator("#plan-create")).to_be_disabled()
    expect(page.locator("#plan-budget")).to_contain_text("No budget yet.")
    assert visit.serious_faults() == []


def test_a_recordings_plan_shows_budget_cards_and_gate(visit: Visit) -> None:
    page = open_with_plan(visit)
    expect(page.locator("#budget-figure .plot-container")).to_be_visible()
    for card in plan()["cards"]:
        expect(page.locator("#plan-budget table")).to_contain_text(card["id"])
        expect(page.locator("#plan-gate")).to_contain_text(card["id"])
    assert visit.serious_faults() == []


def test_a_fault_stands_beside_its_field_and_undo_takes_it_back(visit: Visit) -> None:
    page = open_with_plan(visit)
    fill(page, "Abandon floor, ft", "90000")
    expect(page.locator("#plan-fault-list")).to_contain_text("floors.recovery_ft")
    expect(page.locator(".field").filter(has_text="Recovery floor, ft")).to_contain_text("Fault")
    page.click("#plan-undo")
    expect(page.locator("#plan-state")).to_have_text("checked, no fault")
    expect(page.get_by_label("Abandon floor, ft", exact=True)).to_have_value("4000")
    page.click("#plan-redo")
    expect(page.locator("#plan-state")).to_contain_text("fault")


def test_words_in_a_number_field_are_named_not_lost(visit: Visit) -> None:
    page = open_with_plan(visit)
    fill(page, "Recovery floor, ft", "five thousand")
    expect(page.locator("#plan-fault-list")).to_contain_text("five thousand")


def test_a_card_that_starts_too_low_names_its_shortfall(visit: Visit) -> None:
    page = open_with_plan(visit)
    fill(page, "Recovery floor, ft", "12000")
    expect(page.locator("#plan-state")).to_contain_text("too low")
    expect(page.locator("#plan-budget")).to_contain_text("refused:")
    assert visit.serious_faults() == []


def test_cards_are_added_removed_and_brought_back(visit: Visit) -> None:
    page = open_with_plan(visit)
    rows = page.locator("#plan-cards .ag-center-cols-container .ag-row")
    expect(rows).to_have_count(2)
    page.click("#cards-add")
    expect(rows).to_have_count(3)
    rows.nth(0).locator(".ag-cell").nth(1).click()
    page.click("#cards-remove")
    expect(rows).to_have_count(2)
    expect(page.locator("#plan-said")).to_contain_text("B1 removed. Undo takes it back.")
    page.click("#plan-undo")
    expect(rows).to_have_count(3)


@pytest.mark.parametrize("form", ["yaml", "json"])
def test_export_and_import_keep_the_plan(visit: Visit, tmp_path: Path, form: str) -> None:
    page = open_with_plan(visit)
    with page.expect_download() as waiting:
        page.click(f"#plan-export-{form}")
    saved = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(saved)
    content = (yaml.safe_load if form == "yaml" else json.loads)(saved.read_text(encoding="utf-8"))
    assert content["cards"][0]["id"] == plan()["cards"][0]["id"]
    page.click("#plan-new")
    expect(page.locator("#plan-state")).to_contain_text("fault")
    page.set_input_files("#plan-import input[type=file]", saved)
    expect(page.locator("#plan-state")).to_have_text("checked, no fault")
    expect(page.locator("#plan-said")).to_contain_text("imported")


def test_a_file_that_is_no_plan_changes_nothing(visit: Visit, tmp_path: Path) -> None:
    page = open_with_plan(visit)
    bad = tmp_path / "notes.yaml"
    bad.write_text("- one\n- two\n", encoding="utf-8")
    page.set_input_files("#plan-import input[type=file]", bad)
    expect(page.locator("#plan-said")).to_contain_text("the plan here is unchanged")
    expect(page.locator("#plan-state")).to_have_text("checked, no fault")


def test_a_sortie_is_created_and_linked(visit: Visit, service: RunningService) -> None:
    page = open_with_plan(visit)
    page.click("#plan-create")
    expect(page.locator("#plan-said")).to_contain_text("created")
    href = page.get_by_role("link", name="debrief it").get_attribute("href")
    assert href is not None
    sortie = href.split("sortie=")[1]
    assert service.ask("GET", f"/v1/sorties/{sortie}")["plan"]["title"] == plan()["title"]
