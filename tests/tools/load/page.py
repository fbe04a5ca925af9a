"""The page docs/method/load.md: the measured table, and what follows from it for a large fleet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.tools.load.point import LATE_S, Point
from tests.tools.measured_page import put_measured

PAGE: Final = ROOT / "docs" / "method" / "load.md"
FLEETS: Final = (10, 100, 1000)
RATE_HZ: Final = 100.0
USED: Final = 0.6  # of a core: the rest is for bursts, for a detector that takes over and for the system
FRAME_BYTES: Final = 8 + 8 * 19  # time and every column, as the journal holds them
HOURS: Final = 8.0


@dataclass(frozen=True, slots=True)
class Row:
    """A point and the setting it was measured in."""

    setting: str
    point: Point


def as_table(rows: list[Row], *, head: bool = True) -> str:
    """Markdown."""
    lines = [
        "| setting | sorties | rate, Hz | frames/s | events | p50, ms | p99, ms | cores used | per 1,000 frames/s | memory, MB | |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    return "\n".join([*(lines if head else []), *(_line(row) for row in rows)])


def _line(row: Row) -> str:
    p = row.point
    remark = "; ".join(p.faults) or (f"sources up to {p.late_s:.1f} s late" if p.late_s >= LATE_S else "")
    each = p.cores / p.frames_per_s * 1000.0
    return (
        f"| {row.setting} | {p.sorties} | {p.rate_hz:g} | {p.frames_per_s:,.0f} | {p.events} | {p.p50_ms:.1f} | "
        f"{p.p99_ms:.1f} | {p.cores:.2f} | {each:.2f} | {p.memory_mb:,.0f} | {remark} |"
    )


def most(rows: list[Row], setting: str, limit_ms: float) -> Point | None:
    """The point with the most frames a second that holds."""
    held = [row.point for row in rows if row.setting == setting and row.point.holds(limit_ms)]
    return max(held, key=lambda point: point.frames_per_s, default=None)


def carried(rows: list[Row], limit_ms: float) -> str:
    """One sentence per setting."""
    said = []
    for setting in dict.fromkeys(row.setting for row in rows):
        best = most(rows, setting, limit_ms)
        if best is None:
            said.append(f"- {setting}: no point within {limit_ms:g} ms on this machine.")
        else:
            said.append(
                f"- {setting}: {best.sorties} sorties at {best.rate_hz:g} Hz ({best.frames_per_s:,.0f} frames/s) "
                f"with a p99 of {best.p99_ms:.1f} ms."
            )
    return "\n".join(said)


def cost_per_sortie(rows: list[Row], setting_has: str, limit_ms: float) -> float | None:
    """Cores per sortie at RATE_HZ where it was cheapest among the points that hold; None when there is none."""
    held = [
        r.point for r in rows if setting_has in r.setting and r.point.holds(limit_ms) and r.point.rate_hz == RATE_HZ
    ]
    return min((point.cores / point.sorties for point in held), default=None)


def plan(rows: list[Row], limit_ms: float) -> str:
    """The fleets on paper: cores from the measured cost, the rest from sizes."""
    embedded = cost_per_sortie(rows, "process", limit_ms)
    spread = cost_per_sortie(rows, "detector", limit_ms)
    if spread is None or embedded is None:
        return "No plan follows from this run: nothing held in one of the two modes."
    lines = [
        f"Cost per sortie at {RATE_HZ:g} Hz with a watcher: {embedded:.3f} cores in one process, {spread:.3f} cores spread "
        f"out (streams, ingest, detector and screen together). Planned at {USED:.0%} use of each core:",
        "",
        "| aircraft | frames/s | into the streams, MB/s | cores, one process | cores, spread out | archive per "
        f"{HOURS:g} h day, GB |",
        "| ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for aircraft in FLEETS:
        frames = aircraft * RATE_HZ
        one = f"{math.ceil(aircraft * embedded / USED)}" if aircraft * embedded / USED <= 2.0 else "spread out"
        lines.append(
            f"| {aircraft:,} | {frames:,.0f} | {frames * FRAME_BYTES / 1e6:,.1f} | {one} | "
            f"{math.ceil(aircraft * spread / USED):,} | {frames * FRAME_BYTES * HOURS * 3600 / 1e9:,.0f} |"
        )
    return "\n".join(lines)


def write_page(rows: list[Row], limit_ms: float, page: Path = PAGE) -> None:
    """Table, what was carried and the plan into the page. Raises ValueError when its marks are not there."""
    parts = [as_table(rows), carried(rows, limit_ms), "### A thousand aircraft on paper", plan(rows, limit_ms)]
    put_measured(page, parts)
