"""A floor moved in flight, by keyboard, on the real service: what holds, who may, what it does to the altitude left."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.dashboard.flying import create, send, stretch
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import RunningService

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400)]


PLANNED = {"recovery_ft": 5500.0, "abandon_ft": 4000.0}


@pytest.fixture(scope="module")
def flight(browser: Browser, service: RunningService, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visit]:
    """A page on a spin whose telemetry has ended: figures are carried on, and everything can still be set."""
    create(service, "floors")
    visit = Visit(browser, service.base)
    page = visit.open("/?sortie=floors")
    sender = send(service, "floors", stretch(tmp_path_factory.mktemp("r"), 3.0, 12.6), speed=1.0)
    expect(page.locator("#w-call")).to_have_attribute("data-call", "recover", timeout=PATIENCE_MS)
    sender.wait(timeout=PATIENCE_MS / 1000)
    yield visit
    page.close()


@pytest.fixture
def spinning(flight: Visit, service: RunningService) -> Visit:
    """That page with the floors of the plan, and nobody in control: whatever the test before has left."""
    page = flight.page
    now = floors_of(service)
    if any(now[name] != height for name, height in PLANNED.items()):
        service.ask("PATCH", "/v1/sorties/floors/floors", json=PLANNED)
        page.wait_for_function("feet => spinfloor.link.state.floors.recovery_ft === feet", arg=PLANNED["recovery_ft"])
        page.wait_for_function("feet => spinfloor.link.state.floors.abandon_ft === feet", arg=PLANNED["abandon_ft"])
    expect(page.locator("#w-control")).to_contain_text("nobody")
    return flight


def opened(page: Page) -> None:
    page.keyboard.press("f")
    expect(page.locator("#w-floors-form")).to_be_visible()


def floors_of(service: RunningService) -> dict[str, Any]:
    found: dict[str, Any] = service.ask("GET", "/v1/sorties/floors/state")["floors"]
    return found


def test_raising_a_floor_is_one_key_a_number_and_enter(spinning: Visit, service: RunningService) -> None:
    page = spinning.page
    opened(page)
    expect(page.locator("#w-floor-recovery")).to_be_focused()
    expect(page.locator("#w-floor-recovery")).to_have_value("5500")
    page.keyboard.type("6,200")
    expect(page.locator("#w-floors-effect")).to_contain_text("Cautious altitude left: now")
    page.keyboard.press("Enter")
    expect(page.locator("#w-floors-form")).to_be_hidden()
    expect(page.locator("#w-mark-answer")).to_contain_text("Floors set: recovery 6,200 ft")
    expect(page.locator("#w-log")).to_contain_text("recovery 6,200 ft")
    assert (floors_of(service)["recovery_ft"], floors_of(service)["abandon_ft"]) == (6200.0, 4000.0)


def test_lowering_one_is_asked_for_twice(spinning: Visit, service: RunningService) -> None:
    page = spinning.page
    opened(page)
    page.locator("#w-floor-abandon").fill("3500")
    page.keyboard.press("Enter")
    expect(page.locator("#w-floors-said")).to_have_text(
        "This lowers the abandon floor from 4,000 ft to 3,500 ft. Press Set floors again."
    )
    assert floors_of(service)["abandon_ft"] == 4000.0
    page.keyboard.press("Enter")
    expect(page.locator("#w-floors-form")).to_be_hidden()
    assert floors_of(service)["abandon_ft"] == 3500.0


@pytest.mark.parametrize(
    ("height", "words"),
    [
        ("9000", "Expected abandon lowest and recovery highest; got recovery 5,500 ft, abandon 9,000 ft; nothing was changed."),
        ("low", "Expected feet for the abandon floor; got “low”; nothing was changed."),
        ("", "Expected feet for the abandon floor; got “”; nothing was changed."),
    ],
)  # fmt: skip
def test_floors_that_make_no_sense_are_refused_in_words(
    spinning: Visit, service: RunningService, height: str, words: str
) -> None:
    page = spinning.page
    before = floors_of(service)
    opened(page)
    page.locator("#w-floor-abandon").fill(height)
    page.locator("#w-floors-form button[type=submit]").click()
    expect(page.locator("#w-floors-said")).to_have_text(words)
    page.locator("#w-floor-abandon").press("Escape")
    expect(page.locator("#w-floors-form")).to_be_hidden()
    assert floors_of(service) == before


def test_the_keys_of_calls_work_while_a_height_is_typed(spinning: Visit) -> None:
    page = spinning.page
    opened(page)
    page.keyboard.press("r")
    expect(page.locator("#w-call-words")).to_have_text("recover, called by engineer")
    expect(page.locator("#w-floor-recovery")).to_have_value("5500")
    page.keyboard.press("Escape")
    expect(page.locator("#w-floors-form")).to_be_hidden()


def test_a_read_only_screen_moves_no_floor(browser: Browser, spinning: Visit, service: RunningService) -> None:
    spinning.page.keyboard.press("t")
    expect(spinning.page.locator("#w-control")).to_contain_text("(you)")
    other = Visit(browser, service.base)
    page = other.open("/?sortie=floors")
    expect(page.locator("#w-control")).to_contain_text("READ-ONLY")
    page.keyboard.press("f")
    expect(page.locator("#w-mark-answer")).to_contain_text("Read-only")
    expect(page.locator("#w-floors-form")).to_be_hidden()
    other.close()
    spinning.page.keyboard.press("t")
    expect(spinning.page.locator("#w-control")).to_contain_text("nobody")
