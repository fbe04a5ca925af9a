"""Addresses: the pages there are answer 200, any other a 404 that leads to them; Dash's own are left alone."""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import expect
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = pytest.mark.browser

PAGES = ("/", "/plan", "/rehearse", "/debrief", "/programme")


@pytest.mark.parametrize("path", ["/nothing", "/plan/more", "/not-found-404", "/<script>alert(1)</script>", "/%00"])
def test_an_address_without_a_page_is_a_404_that_leads_to_the_pages(service: RunningService, path: str) -> None:
    answer = httpx.get(service.base + path)
    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert "No such page" in answer.text
    assert "<script" not in answer.text
    assert tuple(re.findall(r'<a href="([^"]+)"', answer.text)) == PAGES
    assert "content-security-policy" in answer.headers


@pytest.mark.parametrize("path", [*PAGES, "/watch", "/plan/", "/plan?sortie=a", "/docs"])
def test_a_page_is_one(service: RunningService, path: str) -> None:
    answer = httpx.get(service.base + path)
    assert (answer.status_code, "No such page" in answer.text) == (200, False)


def test_what_pages_are_made_of_is_still_there(service: RunningService) -> None:
    page = httpx.get(service.base + "/").text
    parts = re.findall(r'(?:src|href)="(/[^"]+)"', page)
    assert len(parts) > 10
    for path in (*parts, "/_dash-layout", "/_dash-dependencies"):
        assert httpx.get(service.base + path).status_code == 200, path


def test_a_link_to_no_page_leads_on_inside_the_screens(visit: Visit) -> None:
    page = visit.open("/plan")
    page.evaluate("() => dash_clientside.set_props('address', {pathname: '/nothing'})")
    expect(page.locator("#page")).to_contain_text("No such page")
    links = page.locator("#page a").evaluate_all("found => found.map(link => link.getAttribute('href'))")
    assert tuple(links) == PAGES
    expect(page.locator(".header")).to_be_visible()
