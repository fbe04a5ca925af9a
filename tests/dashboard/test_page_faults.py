"""A page callback that fails, a service that goes away: told in words on the page, and in the log."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Request, Route, expect
from tests.dashboard.flying import create
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningService]:
    with RunningService(tmp_path_factory.mktemp("faults") / "data") as running:
        create(running, "there")
        yield running


@pytest.fixture
def visit(browser: Browser, served: RunningService) -> Iterator[Visit]:
    visiting = Visit(browser, served.base)
    yield visiting
    visiting.close()


def spoil(route: Route, request: Request) -> None:
    """What the page asks of its callback becomes something no page sends, so that the real callback raises."""
    body = json.loads(request.post_data or "{}")
    if "debrief-top.children" not in body.get("output", ""):
        route.continue_()
        return
    body["inputs"][0]["value"] = 7
    route.continue_(post_data=json.dumps(body))


def test_a_failing_callback_is_a_sentence_on_the_page_and_a_line_in_the_log(
    visit: Visit, served: RunningService
) -> None:
    visit.page.route("**/_dash-update-component*", spoil)
    page = visit.open("/debrief?sortie=there")
    told = page.locator("#shell-fault")
    expect(told).to_contain_text("got a defect of spinfloor, logged as")
    expect(page.locator("#debrief-top")).to_have_text("Not fetched.")
    assert visit.serious_faults() == []
    words = re.search(r"logged as ([0-9a-f]{6});", told.inner_text())
    assert words is not None
    log = Path(served.data.parent / f"{served.data.name}.log").read_text(encoding="utf-8").splitlines()
    lines = [json.loads(line) for line in log if words[1] in line]
    assert [(line["event"], line["level"], line["path"]) for line in lines] == [
        ("page defect", "error", "/_dash-update-component")
    ]
    assert "TypeError" in lines[0]["exception"]
    told.get_by_role("button", name="Dismiss").click()
    expect(told).to_be_hidden()
    page.unroute("**/_dash-update-component*")
    page.reload()
    expect(page.locator("#spin-table, #debrief-top")).to_contain_text("No spin in this sortie.")
    expect(told).to_be_hidden()


def test_a_service_that_went_away_is_told_on_every_page_and_a_reload_asks_again(
    visit: Visit, served: RunningService
) -> None:
    page = visit.open("/debrief")
    expect(page.locator(".choice")).to_be_visible()
    served.kill()
    page.locator(".choice").click()
    expect(page.locator("#shell-fault")).to_contain_text("does not answer")
    served.start()
    page.goto(f"{served.base}/debrief?sortie=there")
    expect(page.locator("#debrief-top")).to_contain_text("No spin in this sortie.")
    expect(page.locator("#shell-fault")).to_be_hidden()
