"""Part 6: from starting `spinfloor serve` to the first frame acknowledged, kernel not yet compiled and compiled."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
from tests.tools.bench import data
from tests.tools.bench.table import Row
from tests.tools.bench.timing import interpreter_s
from tests.tools.running import RunningService

from spinfloor.client import encode_batch
from spinfloor.core.plan.load import plan_to_data


@contextmanager
def cache_in(folder: Path) -> Iterator[None]:
    """Processes started in this block keep their compiled kernel in `folder`."""
    names = {"SPINFLOOR_CACHE_DIR": str(folder)}
    before = {name: os.environ.get(name) for name in (*names, "NUMBA_CACHE_DIR")}
    os.environ.pop("NUMBA_CACHE_DIR", None)  # this process's own, which would be inherited
    os.environ.update(names)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def first_frame_s(folder: Path) -> float:
    """Seconds from starting a service with an empty store to its first acknowledgement."""
    begun = time.perf_counter()
    with RunningService(folder, "--no-screen") as service:
        sortie = service.ask("POST", "/v1/sorties", params={"id": "first"}, json=plan_to_data(data.plan()))
        body = encode_batch("first", 0, data.one_set(0).slice(0, 1))
        kind = {"content-type": "application/msgpack"}
        answer = httpx.post(f"{service.base}/v1/sorties/{sortie['id']}/frames", content=body, headers=kind)
        answer.raise_for_status()
        return time.perf_counter() - begun


def run(folder: Path) -> list[Row]:
    """All rows of this part."""
    data.one_set(0)  # made before the clock runs
    bare_s = interpreter_s()
    with cache_in(folder / "cache"):
        cold_s = first_frame_s(folder / "cold")
        warm_s = min(first_frame_s(folder / "warm-a"), first_frame_s(folder / "warm-b"))
    against = "importing numpy and numba"
    return [
        Row("start_cold", "start to first frame, kernel compiled first", cold_s, "s", cold_s / bare_s, against),
        Row("start_warm", "start to first frame, kernel from its cache", warm_s, "s", warm_s / bare_s, against),
    ]
