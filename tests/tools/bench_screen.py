"""Frame to screen and frame to sound, in a real browser: p50, p99 and the share of calls heard.

Frames arrive at the service by HTTP one batch at a time; the service stamps their arrival and sends the stamp along.
The browser notes when it has written the state that came of them, and when it has scheduled a call's sound; both
clocks are this machine's. Usage: `make bench-screen`.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright
from tests.places import CHROMIUM
from tests.tools.running import RunningService

RECORDING = "r02-left-right-pair"
LAST_S = 100.0
TARGET_SOUND_P99_MS = 150.0


def measure() -> tuple[list[list[float]], list[dict[str, Any]]]:
    """Play one recording through service and browser; the page's own notes of states written and sounds scheduled."""
    with (
        tempfile.TemporaryDirectory() as folder,
        RunningService(Path(folder) / "data") as service,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        replay = service.ask("POST", "/v1/replays", json={"recording": RECORDING, "position_s": 2.0, "paused": True})
        page.goto(f"{service.base}/?sortie={replay['sortie']}")
        page.wait_for_selector("#w-sound")
        page.keyboard.press("s")
        page.wait_for_selector('#w-sound[data-sound="armed"]')
        service.ask("PATCH", f"/v1/replays/{replay['id']}", json={"paused": False})
        page.wait_for_function(
            f"() => spinfloor.replay.now && (spinfloor.replay.now.position_s > {LAST_S} "
            "|| spinfloor.replay.now.state === 'ended')",
            timeout=300_000,
        )
        written = page.evaluate("() => spinfloor.timings")
        sounds = page.evaluate("() => spinfloor.sound.trace.filter(t => t.sequence !== null && t.receivedMs)")
        browser.close()
    return written, sounds


def summary(milliseconds: np.ndarray[Any, np.dtype[np.float64]]) -> dict[str, float]:
    """p50, p99, worst and number."""
    p50, p99 = np.percentile(milliseconds, [50, 99])
    return {
        "p50_ms": round(float(p50), 1),
        "p99_ms": round(float(p99), 1),
        "worst_ms": round(float(milliseconds.max()), 1),
        "n": len(milliseconds),
    }


def main() -> int:
    """Print the figures as JSON; 1 when the sound is later than the number to reach."""
    written, sounds = measure()
    if not written or not sounds:
        print("bench-screen: nothing was measured; no states or no calls came.", file=sys.stderr)
        return 1
    to_screen = np.array([shown - received for received, shown in written])
    to_sound = np.array([sound["scheduledMs"] - sound["receivedMs"] for sound in sounds])
    in_service = np.array([sound["bornMs"] - sound["receivedMs"] for sound in sounds])
    result = {
        "newest_frame_to_screen": summary(to_screen),
        "frame_to_sound_scheduled": summary(to_sound),
        "of_which_in_the_service": summary(in_service),
        "of_which_from_service_to_sound": summary(to_sound - in_service),
    }
    print(json.dumps(result, indent=1))
    return 0 if result["frame_to_sound_scheduled"]["p99_ms"] <= TARGET_SOUND_P99_MS else 1


if __name__ == "__main__":
    sys.exit(main())
