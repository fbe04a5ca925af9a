"""Watch in the states a test conductor must know at a glance: writes docs/screens/watch-STATE.png at 1280x720.

Recordings of the invented programme are sent by `spinfloor send` into the real service, as a flight would be.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import yaml
from playwright.sync_api import Browser, Page
from tests.dashboard.flying import send
from tests.places import RECORDINGS
from tests.tools.running import RunningService
from tests.tools.screenshots import OUT, chromium

WIDTH, HEIGHT = 1280, 720
WITHIN_MS = 120_000


def create(service: RunningService, sortie: str, recording: str) -> None:
    """A sortie with the recording's own plan."""
    plan = yaml.safe_load((RECORDINGS / f"{recording}.plan.yaml").read_text(encoding="utf-8"))
    service.ask("POST", f"/v1/sorties?id={sortie}", json=plan)


@contextmanager
def watched(browser: Browser, service: RunningService, sortie: str, *, armed: bool = True) -> Iterator[Page]:
    """A page on Watch."""
    page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
    page.set_default_timeout(WITHIN_MS)
    page.goto(f"{service.base}/?sortie={sortie}")
    page.wait_for_function("() => spinfloor.link.open && spinfloor.overview.sorties.length")
    if armed:
        page.keyboard.press("s")
        page.wait_for_selector('#w-sound[data-sound="armed"]')
    yield page
    page.close()


def shoot(page: Page, name: str) -> None:
    """One picture."""
    page.evaluate("() => document.fonts.ready")
    page.screenshot(path=str(OUT / f"watch-{name}.png"))


@contextmanager
def sending(service: RunningService, *pairs: tuple[str, str]) -> Iterator[None]:
    """Recordings on their way, in real time."""
    senders: list[subprocess.Popen[bytes]] = [
        send(service, sortie, RECORDINGS / f"{recording}.parquet", speed=1.0) for sortie, recording in pairs
    ]
    yield
    for sender in senders:
        sender.kill()
        sender.wait()


def quiet(browser: Browser, service: RunningService) -> None:
    """No data yet, sound not armed."""
    create(service, "morning", "r02-left-right-pair")
    with watched(browser, service, "morning", armed=False) as page:
        page.wait_for_selector("#w-origin >> text=NO DATA YET")
        shoot(page, "no-data")


def lost(browser: Browser, service: RunningService) -> None:
    """Data lost in the spin: estimated; then the service itself is gone."""
    create(service, "lost", "r07-data-lost")
    with watched(browser, service, "lost") as page, sending(service, ("lost", "r07-data-lost")):
        page.wait_for_selector("#w-turns-cell .estimate-tag:not([hidden])")
        shoot(page, "estimated")
        page.wait_for_selector("#w-origin >> text=LIVE")
        service.kill()
        page.wait_for_selector("#w-origin >> text=SERVER LOST")
        shoot(page, "server-lost")
    service.start()


def below(browser: Browser, service: RunningService) -> None:
    """A spin that doesn't recover, among other sorties, seen by a second watcher."""
    pairs = (("no-recovery", "r08-abandon"), ("inverted", "r05-inverted"), ("pair", "r02-left-right-pair"))
    for sortie, recording in pairs:
        create(service, sortie, recording)
    with (
        watched(browser, service, "no-recovery") as page,
        watched(browser, service, "no-recovery", armed=False) as first,
        sending(service, *pairs),
    ):
        first.locator("#w-take").wait_for()  # a key not drawn yet does nothing
        first.keyboard.press("t")
        page.wait_for_selector("#w-control >> text=READ-ONLY")
        page.bring_to_front()
        page.wait_for_function("() => spinfloor.link.events.some(event => event.data.call === 'recover')")
        shoot(page, "several")
        page.wait_for_function("() => spinfloor.link.events.some(event => event.data.call === 'abandon')")
        page.wait_for_selector('#w-call[data-call="abandon"]')
        shoot(page, "abandon")


def main() -> None:
    """Take the pictures."""
    with (
        tempfile.TemporaryDirectory() as folder,
        RunningService(Path(folder) / "data") as service,
        chromium() as browser,
    ):
        quiet(browser, service)
        below(browser, service)
        lost(browser, service)


if __name__ == "__main__":
    main()
