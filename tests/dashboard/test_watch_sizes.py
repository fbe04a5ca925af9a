"""Altitude left, state and last call are on the first screenful of any window, also of a page at 200 %."""

from typing import Any

import pytest
from playwright.sync_api import Browser
from tests.dashboard.extreme import EXTREME
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]

CALL = {
    "call": "abandon", "words": "abandon", "altitude_ft": 12_602, "altitude_left_ft": -4_492, "altitude_left_bound_ft": -6_038,
    "reason": "abandon floor reached within the lead: 12,602 ft, abandon floor 11,500 ft, 25,495 ft/min down, lead 2.5 s",
    "estimated": True,
}  # fmt: skip
SHOW = """async ([state, call]) => {
  await document.fonts.ready;
  const link = spinfloor.link;
  link.watch("");
  spinfloor.panels.trust = () => ({silent: false, none: false, estimated: true, ageS: 0.1, live: true, lateS: 0});
  link.state = state;
  const event = {kind: "call", sequence: 0, run: "r", time_ns: 0, detected_ns: 0, data: call};
  spinfloor.calls.see(event, {server_ns: 1e6 * spinfloor.now()});
  spinfloor.panels.update();
}"""
SEEN = ("w-call-words", "w-call-reason", "w-call-numbers", "w-phase", "w-kind", "w-mode", "w-turns", "w-left-bound-ft",
        "w-left-bound-s", "w-left-bound-turns", "w-left-median-ft", "w-origin", "w-age", "w-sound")  # fmt: skip
NOT_SEEN = """ids => ids.map(id => {
  const node = document.getElementById(id);
  const own = node.getBoundingClientRect();
  const box = node.closest(".call-band, .cell, .health").getBoundingClientRect();
  if (own.right > innerWidth + 1 || own.bottom > innerHeight + 1) return id + " below or beside the window";
  if (own.top < box.top - 2 || own.bottom > box.bottom + 2 || own.right > box.right + 2) return id + " cut off by its cell";
  return node.scrollWidth > node.clientWidth + 1 && node.clientWidth ? id + " too wide" : "";
}).filter(Boolean)"""


@pytest.mark.parametrize(
    ("width", "height"),
    [(1280, 720), (1920, 1080), (1280, 800), (1024, 768), (800, 900), (960, 540), (640, 360)],
    ids=lambda size: str(size),
)
def test_what_matters_is_seen_without_scrolling(
    browser: Browser, service: RunningService, width: int, height: int
) -> None:
    visit = Visit(browser, service.base, width, height)
    page = visit.open("/")
    state: dict[str, Any] = EXTREME
    page.evaluate(SHOW, [state, CALL])
    assert page.evaluate(NOT_SEEN, list(SEEN)) == []
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    visit.close()
