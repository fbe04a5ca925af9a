"""Pages beside Watch by keyboard alone: what fills itself anew gives the focus back."""

import pytest
from playwright.sync_api import Browser, Locator, Page, expect
from tests.dashboard.programme import FLIGHT
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]


@pytest.fixture
def keyboard(browser: Browser, flown: RunningService) -> Visit:
    return Visit(browser, flown.base)


def tab_to(page: Page, wanted: Locator) -> None:
    """Tab on until the element has the focus, as somebody does who looks for it."""
    wanted.wait_for()
    for _ in range(80):
        page.keyboard.press("Tab")
        if wanted.evaluate("node => node === document.activeElement"):
            return
    raise AssertionError(f"no Tab leads to {wanted}")


def test_choosing_a_recording_by_keyboard_goes_on_from_there(keyboard: Visit) -> None:
    page = keyboard.open("/rehearse")
    chosen = page.locator("a.choice", has_text="It does not recover")
    tab_to(page, chosen)
    page.keyboard.press("Enter")
    expect(page.locator("a.choice.chosen")).to_contain_text("It does not recover")
    expect(chosen).to_be_focused()
    keyboard.close()


def test_choosing_a_spin_by_keyboard_goes_on_from_there(keyboard: Visit) -> None:
    page = keyboard.open(f"/debrief?sortie={FLIGHT}")
    second = page.locator("#spin-table tbody a").nth(1)
    tab_to(page, second)
    page.keyboard.press("Enter")
    expect(page.locator("#spin-table tr.chosen a")).to_have_text("2")
    expect(second).to_be_focused()
    keyboard.close()


def test_signing_off_by_keyboard_stays_at_the_surprises(keyboard: Visit) -> None:
    page = keyboard.open("/programme")
    who = page.get_by_label("Who (role)")
    tab_to(page, who.first)
    before = who.count()
    page.keyboard.type("test conductor")
    page.keyboard.press("Tab")
    page.keyboard.type("the floor was set too high on purpose")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(who).to_have_count(before - 1)
    expect(page.locator("#programme-body")).to_be_focused()
    keyboard.close()
