"""Sorties x rate until the p99 from a frame's arrival to its event passes 20 ms: one process, then 1 to 4 detectors.

Every sortie has a source (a packet of frames each 20 ms) and a watcher, and spins with a turn a second. The machine that
measures is the machine that carries, so the sources' and watchers' own cost is in the figures. Prints the table and
writes it, with the plan that follows from it, into docs/method/load.md (`--keep` leaves the page alone).
"""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.servers.processes import NatsServer, PostgresServer, running
from tests.spread.parts import Fleet, fleet
from tests.tools.load.page import PAGE, Row, as_table, write_page
from tests.tools.load.point import SPINNING_S, Point, measure, seconds_per_point
from tests.tools.running import RunningService

LIMIT_MS: Final = 20.0
EMBEDDED: Final = [
    (1, 100.0),
    (5, 100.0),
    (10, 100.0),
    (10, 200.0),
    (20, 100.0),
    (10, 400.0),
    (40, 100.0),
    (50, 100.0),
    (80, 100.0),
]
SPREAD: Final = [(5, 100.0), (10, 100.0), (20, 100.0), (40, 100.0)]


@dataclass(frozen=True, slots=True)
class Setting:
    """Where frames go, where watchers listen, whose cost counts."""

    name: str
    take: str
    show: str
    pids: tuple[int, ...]


@contextmanager
def embedded(folder: Path) -> Iterator[Setting]:
    """`spinfloor serve`."""
    with RunningService(folder / "data", "--no-screen") as service:
        yield Setting("one process", service.base, service.base, (service.pid,))


@contextmanager
def spread() -> Iterator[tuple[Fleet, Setting]]:
    """Servers, `spinfloor ingest` and `spinfloor screen`; detectors are added one by one."""
    with ExitStack() as stack:
        nats, postgres = NatsServer(), PostgresServer()
        stack.enter_context(running(nats))
        stack.enter_context(running(postgres))
        parts = stack.enter_context(fleet(nats.url, postgres.database("load"), "load"))
        ingest, screen = parts.start("ingest"), parts.start("screen")
        for part in (ingest, screen):
            part.wait_ready()
        assert nats.process is not None
        pids = (nats.process.pid, ingest.process.pid, screen.process.pid)
        yield parts, Setting("spread", ingest.base, screen.base, pids)


class Bench:
    """Takes points until one is late, twice, or the time is over.

    Each setting still to come has its share of the time, and one point at least, so that the last ones are not left out.
    """

    def __init__(self, budget_s: float, limit_ms: float, settings: int, rungs: int) -> None:
        self.rows: list[Row] = []
        self._limit_ms = limit_ms
        self._end = time.monotonic() + budget_s
        self._settings = settings
        self._rungs = rungs

    async def climb(self, setting: Setting, ladder: list[tuple[int, float]]) -> None:
        """Up the ladder; a rung that doesn't hold ends it for as many frames a second and more."""
        too_much = float("inf")
        now = time.monotonic()
        end = now + (self._end - now) / self._settings
        self._settings -= 1
        rungs = sorted(ladder, key=lambda rung: (rung[0] * rung[1], rung[0]))[: self._rungs]
        for number, (sorties, rate_hz) in enumerate(rungs):
            if sorties * rate_hz > too_much:
                continue
            point = await self._measured(setting, sorties, rate_hz, "a", end if number else float("inf"))
            if point is not None and not point.holds(self._limit_ms):  # something else may have disturbed it
                point = await self._measured(setting, sorties, rate_hz, "b", end) or point
            if point is None:
                return
            if not point.holds(self._limit_ms):
                too_much = min(too_much, point.frames_per_s)

    async def _measured(self, setting: Setting, sorties: int, rate_hz: float, attempt: str, end: float) -> Point | None:
        spinning_s = 12.0 if sorties < 10 else SPINNING_S  # few sorties give few events
        if time.monotonic() + seconds_per_point(spinning_s) > end:
            return None
        name = f"{setting.name.replace(' ', '-')}-{sorties}x{rate_hz:g}{attempt}"
        point = await measure(
            setting.take, setting.show, setting.pids,
            sorties=sorties, rate_hz=rate_hz, name=name, spinning_s=spinning_s,
        )  # fmt: skip
        if attempt == "b":
            first = self.rows.pop()
            point = min(first.point, point, key=lambda p: (not p.holds(self._limit_ms), p.p99_ms))
        self.rows.append(Row(setting.name, point))
        print(as_table([self.rows[-1]], head=len(self.rows) == 1), flush=True)
        return point


def run(budget_s: float, detectors: int, limit_ms: float, rungs: int) -> list[Row]:
    """All points."""
    bench = Bench(budget_s, limit_ms, 1 + detectors, rungs)
    with tempfile.TemporaryDirectory() as folder, embedded(Path(folder)) as setting:
        asyncio.run(bench.climb(setting, EMBEDDED))
    for count in range(1, detectors + 1):  # each on servers of its own: sorties that have landed still cost something
        with spread() as (parts, setting):
            pids = setting.pids
            for _ in range(count):
                part = parts.start("detect")
                part.wait_ready()
                pids = (*pids, part.process.pid)
            words = f"{count} detector{'s' if count > 1 else ''}"
            asyncio.run(bench.climb(Setting(words, setting.take, setting.show, pids), SPREAD))
    return bench.rows


def main() -> int:
    """Entry."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--budget", type=float, default=600.0, help="seconds after which no new point is begun")
    parser.add_argument("--rungs", type=int, default=9, help="points of each setting at most; 1: to try it out")
    parser.add_argument("--detectors", type=int, default=4, choices=range(5), help="0: the one process only")
    parser.add_argument("--limit", type=float, default=LIMIT_MS, help="ms that the p99 may reach")
    parser.add_argument("--keep", action="store_true", help="leave the page in docs/ as it is")
    given = parser.parse_args()
    begun = time.monotonic()
    rows = run(given.budget, given.detectors, given.limit, given.rungs)
    print(f"\n{as_table(rows)}\n{len(rows)} points in {time.monotonic() - begun:.0f} s on {os.cpu_count()} cores")
    if not given.keep:
        write_page(rows, given.limit)
        print(f"written to {PAGE.relative_to(ROOT)}")
    return 0 if rows else 1


if __name__ == "__main__":
    sys.exit(main())
