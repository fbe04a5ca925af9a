"""Flights with truth from a folder of Parquet recordings and truth files, where there is one (named by SPINFLOOR_FLIGHTS)."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from tests.truth.flight import START_NS, Flight


def folder() -> Path | None:
    """The folder, or None."""
    named = os.environ.get("SPINFLOOR_FLIGHTS")
    candidates = [Path(named)] if named else [Path(__file__).resolve().parents[3] / "shared" / "flights"]
    return next((p for p in candidates if p.is_dir()), None)


def load(path: Path) -> Flight:
    """One recording with its .truth.json and .truth.parquet beside it."""
    truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
    table = pq.read_table(path)
    columns = {n: table[n].to_numpy().astype(np.float64) for n in table.column_names if n != "time_ns"}
    time_s = (table["time_ns"].to_numpy() - truth["start_time_ns"]) * 1e-9
    exact = pq.read_table(path.with_suffix("").with_suffix(".truth.parquet"))
    truth.setdefault("borderline", [])
    return Flight(
        path.stem, "shared", path.stem.split("_", 1)[1].replace("_", " "), 0, time_s, columns,
        exact["turns_about_flight_path"].to_numpy().astype(np.float64),
        exact["turns_about_vertical"].to_numpy().astype(np.float64),
        {**truth, "start_time_ns": START_NS}, (16.0, -13.0),
    )  # fmt: skip


def flights() -> list[Flight]:
    """Every recording of the folder, numbered so that each gets its own random faults."""
    where = folder()
    if where is None:
        return []
    paths = sorted(p for p in where.glob("*.parquet") if not p.name.endswith(".truth.parquet"))
    return [replace(load(p), seed=i) for i, p in enumerate(paths)]
