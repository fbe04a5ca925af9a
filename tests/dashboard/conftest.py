"""One Chromium for all browser tests of the screens."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from tests.dashboard.programme import fly
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.places import CHROMIUM, ROOT
from tests.tools.running import RunningService

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
expect.set_options(timeout=PATIENCE_MS)  # here, so that it holds for each file however the tests are chosen
ASSETS = ROOT / "dashboard" / "spinfloor_dashboard" / "assets"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium: the system's where there is one, else the one Playwright fetched."""
    with sync_playwright() as playwright:
        path = CHROMIUM if Path(CHROMIUM).exists() else None
        chromium = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def scripts(browser: Browser) -> Iterator[Page]:
    """An empty page with the screens' scripts that need no service."""
    page = browser.new_page()
    page.set_content("<div id='shell' data-api='http://nowhere.invalid'></div>")
    names = (
        "05-tools",
        "10-shell",
        "20-clips",
        "21-sound",
        "22-clock",
        "30-link",
        "40-panels",
        "41-height",
        "42-strips",
        "43-calls",
        "43-unheard",
        "45-overview",
    )
    for name in names:
        page.add_script_tag(path=str(ASSETS / f"{name}.js"))
    yield page
    page.close()


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningService]:
    """A real service of its own for each test module."""
    with RunningService(tmp_path_factory.mktemp("service") / "data") as running:
        yield running


@pytest.fixture(scope="module")
def flown(service: RunningService) -> RunningService:
    """The module's service with the programme flown on it."""
    fly(service)
    return service


@pytest.fixture
def visit(browser: Browser, service: RunningService) -> Iterator[Visit]:
    """A fresh page on the module's service."""
    visiting = Visit(browser, service.base)
    yield visiting
    visiting.close()
