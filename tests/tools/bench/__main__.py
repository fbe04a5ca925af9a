"""Every benchmark of speed in one run on the same data: one table of ratios, against the committed baseline.

    python -m tests.tools.bench                    all parts, some minutes; writes the table into docs/method/performance.md
    python -m tests.tools.bench kernel programme   these parts only; the page is left alone
    python -m tests.tools.bench --scale 0.05       small, to try it out; not compared, the page is left alone
    python -m tests.tools.bench --strict           ends with 1 when a ratio moved by more than 15 % from the baseline
    python -m tests.tools.bench --save-baseline    this run's ratios join the baseline, which keeps the last five runs
    python -m tests.tools.bench --new-baseline     this run's ratios become the baseline

Parts: kernel, ingest, live, exports, programme, startup, memory. Give it two quiet cores. Needs `make develop` once.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.tools.bench import exports, ingest, kernel, live, memory, programme, startup
from tests.tools.bench.page import PAGE, write_page
from tests.tools.bench.table import BASELINE, Row, as_text, load_baseline, moved, save_baseline
from tests.tools.running import RunningService

PARTS: Final = ("kernel", "ingest", "live", "exports", "programme", "startup", "memory")


class Run:
    """One run: its folder, its size, and the one service that ingest and live share."""

    def __init__(self, folder: Path, scale: float, stack: ExitStack) -> None:
        self._folder = folder
        self._scale = scale
        self._stack = stack
        self._running: RunningService | None = None

    def _service(self) -> RunningService:
        if self._running is None:
            self._running = self._stack.enter_context(RunningService(self._folder / "service", "--no-screen"))
        return self._running

    def part(self, name: str) -> list[Row]:
        """The rows of a part."""
        work: dict[str, Callable[[], list[Row]]] = {
            "kernel": lambda: kernel.run(self._scale),
            "ingest": lambda: ingest.run(self._service().base, self._folder, self._scale),
            "live": lambda: live.run(self._service().base, self._service().pid, self._folder, self._scale),
            "exports": lambda: exports.run(self._folder, self._scale),
            "programme": lambda: programme.run(self._folder, self._scale),
            "startup": lambda: startup.run(self._folder),
            "memory": lambda: memory.run(self._folder, self._scale),
        }
        return work[name]()


def measure(parts: list[str], scale: float) -> list[Row]:
    """The rows of these parts, each printed when it is done."""
    rows: list[Row] = []
    with tempfile.TemporaryDirectory(prefix="spinfloor-bench-") as folder, ExitStack() as stack:
        run = Run(Path(folder), scale, stack)
        for name in parts:
            begun = time.monotonic()
            found = run.part(name)
            print(f"{name}: {time.monotonic() - begun:.0f} s\n{as_text(found)}\n", flush=True)
            rows += found
    return rows


def judged(rows: list[Row]) -> list[str]:
    """What moved, printed."""
    baseline = load_baseline()
    if not baseline:
        print("no baseline is committed yet: --save-baseline makes it")
        return []
    said = moved(rows, baseline)
    compared = sum(row.ratio is not None and row.key in baseline for row in rows)
    if said:
        print("moved by more than 15 % out of the baseline (worse or better):\n  " + "\n  ".join(said))
    else:
        print(f"none of {compared} ratios moved by more than 15 % out of the baseline")
    return said


def main() -> int:
    """Entry."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", metavar="PART", help="default: all")
    parser.add_argument("--scale", type=float, default=1.0, help="size of the data, 1 is the full size")
    parser.add_argument("--strict", action="store_true", help="end with 1 when a ratio moved")
    keeping = parser.add_mutually_exclusive_group()
    keeping.add_argument("--save-baseline", action="store_true", help="add this run's ratios to the baseline")
    keeping.add_argument("--new-baseline", action="store_true", help="write this run's ratios as the baseline")
    parser.add_argument("--keep", action="store_true", help="leave the page in docs/ as it is")
    given = parser.parse_args()
    unknown = sorted(set(given.parts) - set(PARTS))
    if unknown or given.scale <= 0.0:
        parser.error(f"unknown part {', '.join(unknown)}" if unknown else "--scale must be above 0")
    saves = given.save_baseline or given.new_baseline
    if saves and given.scale != 1.0:
        parser.error("the baseline is of the full size: no --scale when it is saved")
    begun = time.monotonic()
    parts = [name for name in PARTS if not given.parts or name in given.parts]
    rows = measure(parts, given.scale)
    print(f"{as_text(rows)}\n\n{len(rows)} rows in {time.monotonic() - begun:.0f} s")
    whole = tuple(parts) == PARTS and given.scale == 1.0
    said = judged(rows) if given.scale == 1.0 else []
    if saves:
        save_baseline(rows, begin=given.new_baseline)
        print(f"baseline written to {BASELINE.relative_to(ROOT)}")
    if whole and not given.keep:
        write_page(rows)
        print(f"table written to {PAGE.relative_to(ROOT)}")
    return 1 if said and given.strict else 0


if __name__ == "__main__":
    sys.exit(main())
