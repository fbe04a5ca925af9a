"""Part 3: from the arrival of a frame to the event it gives, disk and detector between, at 1, 10 and 50 sorties."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Final

from tests.tools.bench.table import Row
from tests.tools.bench.timing import syncs_ms
from tests.tools.load.point import Point, measure

SORTIES: Final = (1, 10, 50)
RATE_HZ: Final = 100.0
PACKET_BYTES: Final = 272
SPINNING_S: Final = 12.0
TARGET_MS: Final = {10: "20"}


def run(base: str, pid: int, folder: Path, scale: float) -> list[Row]:
    """All rows of this part. base, pid: of the service; folder: on the disk that it writes to."""
    sync = syncs_ms(folder, PACKET_BYTES)
    rows = [Row("sync_p50", "one disk sync, p50", sync[0], "ms"), Row("sync_p99", "one disk sync, p99", sync[1], "ms")]
    for sorties in SORTIES:
        spinning_s = max(3.0, SPINNING_S * min(scale, 1.0))
        point = asyncio.run(
            measure(base, base, (pid,), sorties=sorties, rate_hz=RATE_HZ, name=f"live{sorties}", spinning_s=spinning_s)
        )
        rows += point_rows(point, sync)
    return rows


def point_rows(point: Point, sync_ms: tuple[float, float]) -> list[Row]:
    """p50 and p99 of one load; a source that fell behind or was refused is said."""
    said = f"frame to event, {point.sorties} x {point.rate_hz:g} Hz"
    trouble = "; ".join(point.faults)
    words = f" ({trouble})" if trouble else ""
    both = (("p50", point.p50_ms, sync_ms[0]), ("p99", point.p99_ms, sync_ms[1]))
    return [
        Row(
            f"event_{point.sorties}_{name}", f"{said}, {name}{words}", value, "ms", value / sync, f"one disk sync, {name}",
            TARGET_MS.get(point.sorties, "") if name == "p99" else "",
        )
        for name, value, sync in both
    ]  # fmt: skip
