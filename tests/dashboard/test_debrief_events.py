"""Debrief's events: the list, its kinds, the strip that leads to a moment, and which calls were heard."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.dashboard.programme import FLIGHT
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import RunningService
from tests.waiting import wait_for

pytestmark = pytest.mark.browser

REPORT = """([sortie, reports]) => new Promise(done => {
  const socket = new WebSocket(location.origin.replace("http", "ws") + "/v1/sorties/" + sortie + "/live");
  socket.onopen = () => {
    for (const [sequence, latency_ms] of reports) socket.send(JSON.stringify({type: "sounded", sequence, latency_ms}));
    setTimeout(() => { socket.close(); done(); }, 200);
  };
})"""


@pytest.fixture
def visit(browser: Browser, flown: RunningService) -> Iterator[Visit]:
    visiting = Visit(browser, flown.base)
    yield visiting
    assert visiting.errors == []
    visiting.close()


def events(service: RunningService, kind: str = "") -> list[dict[str, Any]]:
    found = service.ask("GET", f"/v1/sorties/{FLIGHT}/events" + (f"?kind={kind}" if kind else ""))["events"]
    return list(found)


def rows(page: Page) -> Any:
    return page.locator("#debrief-event-list tbody tr")


def test_every_event_is_listed_in_words_and_by_kind(visit: Visit, flown: RunningService) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    every = events(flown)
    expect(rows(page)).to_have_count(len(every))
    calls = [event for event in every if event["kind"] in ("call", "mark")]
    page.get_by_role("button", name="calls and marks").click()
    expect(rows(page)).to_have_count(len(calls))
    expect(page.locator("#debrief-event-list")).to_contain_text(f"{len(calls)} events")
    recover = next(event for event in calls if event["data"].get("call") == "recover")
    row = page.locator("#debrief-event-list tr", has_text="call: recover").first
    expect(row.locator(".badge-warning")).to_have_text("call: recover")
    expect(row).to_contain_text(recover["data"]["reason"])
    expect(row.locator("time")).to_have_attribute("title", re.compile("local"))
    assert visit.serious_faults() == []


def test_an_events_time_leads_to_its_moment_and_back(visit: Visit, flown: RunningService) -> None:
    second = events(flown, "spin.started")[1]
    page = visit.open(f"/debrief?sortie={FLIGHT}&spin=1")
    expect(page.get_by_role("heading", name="Spin 1:")).to_be_visible()
    page.locator("#debrief-event-list tr", has_text="spin started").nth(1).get_by_role("link").click()
    expect(page).to_have_url(re.compile(f"t={second['time_ns']}"))
    expect(page.locator("#moment-row")).to_contain_text("spin started")
    page.go_back()
    expect(page).to_have_url(re.compile("spin=1$"))
    expect(page.locator("#moment-row")).to_have_count(0)


def test_a_call_on_the_strip_leads_to_its_moment(visit: Visit, flown: RunningService) -> None:
    calls = events(flown, "call")
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    points = page.locator("#debrief-strip .scatterlayer .point")
    expect(points).to_have_count(len(calls))
    points.last.scroll_into_view_if_needed()
    box = points.last.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator("#debrief-strip .hoverlayer")).to_contain_text(calls[-1]["data"]["words"])
    page.mouse.down()
    page.mouse.up()
    expect(page).to_have_url(re.compile(f"t={calls[-1]['time_ns']}"))
    expect(page.locator("#moment-row")).to_be_visible()


def test_calls_heard_late_and_not_at_all_are_told_apart(visit: Visit, flown: RunningService) -> None:
    page = visit.open(f"/debrief?sortie={FLIGHT}")
    expect(page.locator("#debrief-heard")).to_contain_text("no screen reported a sound")
    weighty = [e for e in events(flown, "call") if e["data"]["call"] in ("caution", "recover", "chute", "abandon")]
    assert len(weighty) >= 3
    heard, late, *missed = weighty
    page.evaluate(REPORT, [FLIGHT, [[heard["sequence"], 120.0], [late["sequence"], 900.0]]])
    wait_for(
        lambda: sum(r["action"] == "sounded" for r in flown.ask("GET", f"/v1/sorties/{FLIGHT}/audit")["records"]) >= 2,
        seconds=PATIENCE_MS / 1000,
        what="both reports",
    )
    page.reload()
    told = page.locator("#debrief-heard")
    expect(told).to_contain_text(f"1 of {len(weighty)} calls heard within 0.5 s")
    expect(told).to_contain_text("1 later")
    expect(told).to_contain_text(f"{len(missed)} reported by no screen")
    listed = told.locator("tbody tr")
    expect(listed).to_have_count(len(missed) + 1)
    expect(listed.filter(has_text="after 900 ms")).to_contain_text(late["data"]["words"])
    expect(listed.filter(has_text="by no screen").first).to_contain_text(missed[0]["data"]["words"])
    assert visit.serious_faults() == []
