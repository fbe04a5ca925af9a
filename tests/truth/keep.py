"""Built flights kept in the temporary folder, so that a second run of the benchmark starts at once.

The key holds a digest of every source file that makes the flight: a changed simulator never meets an old one. A source
with a package of its own (`rotary`) is kept by that package and what it shares with the rest.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from tests.truth.flight import Flight

_NOT_MAKING = ("degrade.py", "keep.py", "catalogue.py", "shared.py", "programmes.py")
_SHARED = ("labels.py", "flight.py", "atmosphere.py")


@cache
def folder(source: str) -> Path:
    """Where this version of the source keeps its flights."""
    here = Path(__file__).parent
    own = here / source
    if own.is_dir():
        making = [here / name for name in _SHARED] + sorted(own.glob("*.py"))
    else:
        making = [path for path in sorted(here.glob("*.py")) if path.name not in _NOT_MAKING]
    digest = hashlib.sha256()
    for path in making:
        digest.update(path.read_bytes())
    path = Path(tempfile.gettempdir()) / "spinfloor-truth" / digest.hexdigest()[:16]
    path.mkdir(parents=True, exist_ok=True)
    return path


def kept(source: str, situation: str, seed: int, make: Callable[[str, int], Flight]) -> Flight:
    """The flight from the folder, or made now and kept (columns as float32, as a recording has them)."""
    path = folder(source) / f"{source}-{situation.replace(' ', '_')}-{seed}.npz"
    if not path.exists():
        _store(path, make(situation, seed))
    with np.load(path) as data:
        about = json.loads(str(data["about"]))
        columns = {k[2:]: data[k].astype(np.float64) for k in data.files if k.startswith("c_")}
        return Flight(
            about["name"], about["source"], about["situation"], about["seed"], data["time_s"], columns,
            data["turns_fp"], data["turns_v"], about["truth"], tuple(about["stall_deg"]),
        )  # fmt: skip


def _store(path: Path, flight: Flight) -> None:
    about = {
        "name": flight.name,
        "source": flight.source,
        "situation": flight.situation,
        "seed": flight.seed,
        "truth": flight.truth,
        "stall_deg": flight.stall_deg,
    }
    columns: dict[str, Any] = {f"c_{k}": v.astype(np.float32) for k, v in flight.columns.items()}
    partial = path.with_suffix(f".{np.random.default_rng().integers(1 << 40)}.npz")
    with partial.open("wb") as out:
        np.savez(
            out,
            about=json.dumps(about),
            time_s=flight.time_s,
            turns_fp=flight.turns_about_flight_path,
            turns_v=flight.turns_about_vertical,
            **columns,
        )
    partial.replace(path)
