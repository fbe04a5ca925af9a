"""Sorties for the browser tests: a stretch of a rehearsal recording, sent by the real `spinfloor send`."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pyarrow.compute as pc
import pyarrow.parquet as pq
import yaml
from tests.places import RECORDINGS
from tests.tools.running import COMMAND, RunningService

RECORDING = "r02-left-right-pair"


def plan(**call_words: str) -> dict[str, Any]:
    """The recording's own plan."""
    content: dict[str, Any] = yaml.safe_load((RECORDINGS / f"{RECORDING}.plan.yaml").read_text(encoding="utf-8"))
    if call_words:
        content["call_words"] = call_words
    return content


def stretch(folder: Path, from_s: float, to_s: float, recording: str = RECORDING) -> Path:
    """Frames from_s <= t < to_s of a recording, as a recording of its own."""
    table = pq.read_table(RECORDINGS / f"{recording}.parquet")
    time_ns = table.column("time_ns")
    first = time_ns[0].as_py()
    keep = pc.and_(pc.greater_equal(time_ns, first + int(from_s * 1e9)), pc.less(time_ns, first + int(to_s * 1e9)))
    path = folder / f"{recording[:3]}-from-{from_s:g}-to-{to_s:g}.parquet"
    pq.write_table(table.filter(keep), path)
    return path


def create(service: RunningService, sortie: str, **call_words: str) -> None:
    """A live sortie with the recording's plan."""
    service.ask("POST", f"/v1/sorties?id={sortie}", json=plan(**call_words))


def send(service: RunningService, sortie: str, recording: Path, *, speed: float) -> subprocess.Popen[bytes]:
    """Start sending; the caller waits for what it wants to see, then for the process."""
    return subprocess.Popen(
        [*COMMAND, "send", str(recording), f"--to={service.base}", f"--sortie={sortie}", f"--speed={speed}"],
        stderr=subprocess.DEVNULL,
    )
