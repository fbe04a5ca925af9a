"""Watch as it really looks: `python -m tests.tools.screenshots` serves, replays a recording, writes docs/screens/watch-*.png.

A rehearsal recording runs through the real service into a headless Chromium; the picture is taken at a recover call.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright
from tests.places import CHROMIUM, ROOT
from tests.tools.running import RunningService

OUT = ROOT / "docs" / "screens"
SIZES = ((1280, 720), (1920, 1080))
RECORDING = "r02-left-right-pair"
FROM_S = 2.0


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser to take pictures with, and the folder they go to."""
    OUT.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


def pages(browser: Browser, base: str, sortie: str) -> list[Page]:
    """Watch at both sizes, sound armed."""
    opened = []
    for width, height in SIZES:
        page = browser.new_page(viewport={"width": width, "height": height})
        page.goto(f"{base}/?sortie={sortie}")
        page.wait_for_selector("#w-sound")
        page.keyboard.press("s")
        page.wait_for_selector('#w-sound[data-sound="armed"]')
        opened.append(page)
    return opened


def main() -> None:
    """Take the pictures."""
    with tempfile.TemporaryDirectory() as folder, RunningService(Path(folder) / "data") as service:
        replay = service.ask("POST", "/v1/replays", json={"recording": RECORDING, "position_s": FROM_S, "paused": True})
        with chromium() as browser:
            opened = pages(browser, service.base, replay["sortie"])
            service.ask("PATCH", f"/v1/replays/{replay['id']}", json={"paused": False})
            opened[-1].wait_for_selector('#w-call[data-call="recover"]', timeout=60_000)
            opened[-1].wait_for_function("() => /heard in/.test(document.querySelector('#w-call-heard').textContent)")
            for page, (width, _) in zip(opened, SIZES, strict=True):
                page.bring_to_front()
                page.screenshot(path=str(OUT / f"watch-{width}.png"))


if __name__ == "__main__":
    main()
