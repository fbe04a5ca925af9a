"""Every recording two ways, analysed and live with a browser on Watch: the same events, every call heard.

Usage: `make bench-e2e`, or `python -m tests.tools.bench_e2e [--speed 4] [NAME ...]`. Takes the recordings of replay_data/ and,
where SPINFLOOR_FLIGHTS names a folder (or ../shared/flights lies beside the repository), the flights with known truth.
Each goes in with its own plan and that plan's own data-age limit; one in which data is lost is played as a rehearsal, where
time goes by the recording and not by the wall clock.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from playwright.sync_api import Browser, sync_playwright
from tests.places import CHROMIUM, ROOT
from tests.tools import end_to_end
from tests.tools.running import RunningService

FLIGHTS = Path(os.environ.get("SPINFLOOR_FLIGHTS", ROOT.parent / "shared" / "flights"))
LIMIT_S = 0.5


def recordings(names: list[str]) -> list[Path]:
    """The rehearsal recordings and the flights, those named or all."""
    found = [*sorted((ROOT / "replay_data").glob("*.parquet")), *sorted(FLIGHTS.glob("*.parquet"))]
    return [p for p in found if ".truth" not in p.name and (not names or any(n in p.name for n in names))]


def longest_gap_s(recording: Path) -> float:
    """Longest time between two frames."""
    return float(np.diff(pq.read_table(recording, columns=["time_ns"])["time_ns"].to_numpy()).max()) * 1e-9


def flown(browser: Browser, recording: Path, speed: float) -> end_to_end.Outcome:
    """One recording, and once more when this machine was too busy to send it without a gap of its own."""
    way = end_to_end.rehearsed if longest_gap_s(recording) > LIMIT_S else end_to_end.sent
    outcome = once(browser, recording, speed, way)
    if outcome.faults and "'kind': 'link'" in outcome.faults[0]:
        print(f"{recording.stem}: the sender stalled, the service told the loss; once more", flush=True)
        outcome = once(browser, recording, speed, way)
    return outcome


def once(browser: Browser, recording: Path, speed: float, way: end_to_end.Way) -> end_to_end.Outcome:
    """Through a service of its own, so that nothing is left of the recording before."""
    with tempfile.TemporaryDirectory() as name:
        folders = f"--recordings={recording.parent}"
        with RunningService(Path(name) / "data", folders) as service:
            return end_to_end.fly(browser, service, recording, end_to_end.own_plan(recording, Path(name)), speed, way)


def main() -> int:
    """One line per recording; 1 when any of them was not the same both ways."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="parts of the recordings' names; default all")
    parser.add_argument("--speed", type=float, default=4.0, help="times real time")
    options = parser.parse_args()
    end_to_end.ready_kernel()
    bad = 0
    print(
        f"{'recording':44} {'events':>6} {'after':>5} {'calls':>5} {'heard':>5} {'latest ms':>9}  verdict", flush=True
    )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        for recording in recordings(options.names):
            begun = time.monotonic()
            got = flown(browser, recording, options.speed)
            bad += bool(got.faults)
            said = "; ".join(got.faults) or f"same ({time.monotonic() - begun:.0f} s)"
            print(f"{got.name:44} {got.events:6} {got.after_the_end:5} {got.calls:5} {got.heard:5} {got.late_ms:9.0f}  {said}",
                  flush=True)  # fmt: skip
        browser.close()
    print(f"{bad} differ" if bad else "all the same")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
