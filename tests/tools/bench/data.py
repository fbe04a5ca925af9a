"""The data every part measures on: the rehearsal recordings flown one after another at 100 Hz, with climbs between.

The recordings are those of the invented programme in replay_data/. They are brought from their 25 Hz to 100 Hz by
interpolation, joined by level climbs, and given sensor noise from a seed, so that no two sets have the same numbers.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS, PITCH_RATE, REQUIRED_COLUMNS, ROLL_RATE, YAW_RATE
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan

RATE_HZ: Final = 100
STEP_NS: Final = 1_000_000_000 // RATE_HZ
START_NS: Final = 1_800_000_000_000_000_000
CLIMB_S: Final = 30.0
FRAMES_PER_SPIN: Final = 6_000  # a minute at 100 Hz: 1,000 spins are 6 million frames
NOISE_DPS: Final = 0.05
LEFT_OUT: Final = ("r07", "r10")  # the first lacks data on purpose, the second has no spin
_TURNING: Final = ("roll_deg", "heading_deg")  # they jump by a whole turn; unwrapped before interpolation
Floats = npt.NDArray[np.float64]


@cache
def plan() -> Plan:
    """The first recording's plan, which the whole programme is flown by."""
    return load_plan(RECORDINGS / "r01-first-turns.plan.yaml")


def _columns(path: Path) -> tuple[Floats, dict[str, Floats]]:
    table = pq.read_table(path)
    time_s = (table["time_ns"].to_numpy() - table["time_ns"][0].as_py()) * 1e-9
    names = [name for name in table.column_names if name in CHANNEL_INDEX]
    return time_s, {name: table[name].to_numpy().astype(np.float64) for name in names}


def _at_rate(time_s: Floats, columns: dict[str, Floats]) -> dict[str, Floats]:
    wanted = np.arange(int(time_s[-1] * RATE_HZ)) / RATE_HZ
    out = {}
    for name, values in columns.items():
        whole = np.unwrap(values, period=360.0) if name in _TURNING else values
        out[name] = np.interp(wanted, time_s, whole)
    return out


def _climb(before: dict[str, Floats], after: dict[str, Floats], seconds: float) -> dict[str, Floats]:
    """From the last frame of one recording to the first of the next, without turning."""
    part = np.linspace(0.0, 1.0, int(seconds * RATE_HZ), endpoint=False)
    joined = {}
    for name, values in before.items():
        first, last = values[-1], after[name][0]
        if name in _TURNING:
            last = first + (last - first + 180.0) % 360.0 - 180.0
        joined[name] = first + part * (last - first)
    for name in ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps"):
        joined[name] = np.zeros_like(part)
    return joined


def _wrapped(columns: dict[str, Floats]) -> dict[str, Floats]:
    roll = (columns["roll_deg"] + 180.0) % 360.0 - 180.0
    return {**columns, "roll_deg": roll, "heading_deg": columns["heading_deg"] % 360.0}


@cache
def _quiet_set() -> dict[str, Floats]:
    """All recordings once, in edge units, without noise, as long as FRAMES_PER_SPIN asks for."""
    files = [f for f in sorted(RECORDINGS.glob("*.parquet")) if not f.name.startswith(LEFT_OUT)]
    flown = [_at_rate(*_columns(f)) for f in files]
    parts = [flown[0]]
    for before, after in pairwise(flown):
        parts += [_climb(before, after, CLIMB_S), after]
    frames = sum(len(p["roll_deg"]) for p in parts)
    short = FRAMES_PER_SPIN * _spins(_block(parts, 0)) - frames
    if short > 0:
        parts.append(_climb(flown[-1], flown[0], short / RATE_HZ))
    return {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}


def _block(parts: list[dict[str, Floats]], first: int) -> FrameBlock:
    columns: dict[str, Any] = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    columns.update(_wrapped(columns))
    columns["time_ns"] = START_NS + (first + np.arange(len(columns["roll_deg"]), dtype=np.int64)) * STEP_NS
    return FrameBlock.from_columns(columns)


def _spins(block: FrameBlock) -> int:
    return sum(e.kind is Kind.SPIN_STARTED for e in Detector(sortie="b", plan=plan()).feed(block))


def spins_per_set() -> int:
    """How many spins the detector finds in a set."""
    return _spins(one_set(0))


def one_set(seed: int) -> FrameBlock:
    """A sortie with every recording in it, all columns, noise from the seed."""
    block = _block([_quiet_set()], 0)
    rng = np.random.default_rng(seed)
    values = block.values
    for channel in (ROLL_RATE, PITCH_RATE, YAW_RATE):
        values[:, channel] += rng.normal(0.0, np.radians(NOISE_DPS), len(block))
    return block


def sets(count: int) -> FrameBlock:
    """Several sets as one long sortie."""
    blocks = [one_set(seed) for seed in range(count)]
    span = len(blocks[0])
    times = START_NS + np.arange(span * count, dtype=np.int64) * STEP_NS
    return FrameBlock(times, np.concatenate([b.values for b in blocks]))


def five_columns(block: FrameBlock) -> FrameBlock:
    """The same frames with the required columns only: time, three rates, pressure altitude."""
    values = np.full_like(block.values, np.nan)
    keep = [CHANNEL_INDEX[name] for name in REQUIRED_COLUMNS]
    values[:, keep] = block.values[:, keep]
    return FrameBlock(block.time_ns, values)


def level(frames: int) -> FrameBlock:
    """Level flight with every column: the first frame held, with noise."""
    first = one_set(0).values[0]
    rng = np.random.default_rng(1)
    values = np.repeat(first[None, :], frames, axis=0)
    for channel in (ROLL_RATE, PITCH_RATE, YAW_RATE):
        values[:, channel] = rng.normal(0.0, np.radians(NOISE_DPS), frames)
    return FrameBlock(START_NS + np.arange(frames, dtype=np.int64) * STEP_NS, values)


def edge_columns(block: FrameBlock) -> dict[str, npt.NDArray[Any]]:
    """Contract columns, contiguous."""
    return {name: np.ascontiguousarray(values) for name, values in block.to_columns().items()}


def write_parquet(block: FrameBlock, path: Path) -> None:
    """As a recorder leaves it: float32 in the contract's columns and units, zstd."""
    arrays, fields = [], []
    for name, values in block.to_columns().items():
        kind = pa.int64() if name == "time_ns" else pa.float32()
        unit = "ns" if name == "time_ns" else CHANNELS[CHANNEL_INDEX[name]].unit
        fields.append(pa.field(name, kind, metadata={"unit": unit}))
        arrays.append(pa.array(values.astype(kind.to_pandas_dtype())))
    pq.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), path, compression="zstd")
