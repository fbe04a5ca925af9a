"""Plan, Rehearse, Debrief and Programme as they really look: writes docs/screens/NAME-WIDTH.png for each.

A flight and a rehearsal of an invented programme go through the real service; the pages are taken at two sizes.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from playwright.sync_api import Browser
from tests.dashboard.flying import RECORDING
from tests.dashboard.programme import FLIGHT, REHEARSAL, fly
from tests.tools.running import RunningService
from tests.tools.screenshots import OUT, SIZES, chromium

PAGES = (
    ("plan", f"/plan?recording={RECORDING}", "#budget-figure .main-svg, #plan-fault-list"),
    ("rehearse", f"/rehearse?recording={RECORDING}&sortie={REHEARSAL}", "#score-lines"),
    ("debrief", f"/debrief?sortie={FLIGHT}&spin=1&compare=2", "#debrief-strip .main-svg"),
    ("programme", "/programme", "#programme-learnt .main-svg"),
)


def take(browser: Browser, base: str, width: int, height: int) -> None:
    """Every page at one size, from its top to its end."""
    for name, path, ready in PAGES:
        page = browser.new_page(viewport={"width": width, "height": height})
        page.goto(base + path)
        page.wait_for_selector(ready, timeout=60_000)
        page.evaluate("() => document.fonts.ready")
        page.wait_for_function("() => document.querySelectorAll('.busy, ._dash-loading').length === 0")
        page.screenshot(path=str(OUT / f"{name}-{width}.png"), full_page=True)
        page.close()


def main() -> None:
    """Take the pictures."""
    with (
        tempfile.TemporaryDirectory() as folder,
        RunningService(Path(folder) / "data") as service,
        chromium() as browser,
    ):
        fly(service)
        for width, height in SIZES:
            take(browser, service.base, width, height)


if __name__ == "__main__":
    main()
