"""Frames as lines of JSON: the same numbers as the Arrow table, over the edges of the pieces they are written in."""

from __future__ import annotations

import json

import numpy as np
import pytest

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.adapters.exports import frames as module
from spinfloor.core.channels import ALPHA, CHANNEL_COUNT, PITCH_RATE, PRESSURE_ALTITUDE, ROLL_RATE, YAW_RATE
from spinfloor.core.frames import FrameBlock


@pytest.mark.parametrize("rows", [0, 1, 7, 8, 20])
def test_lines_hold_what_the_table_holds(rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LINES_AT_ONCE", 8)
    values = np.full((rows, CHANNEL_COUNT), np.nan)
    rng = np.random.default_rng(3)
    for channel in (ROLL_RATE, PITCH_RATE, YAW_RATE, PRESSURE_ALTITUDE, ALPHA):
        values[:, channel] = rng.normal(0.0, 1e3, rows)
    values[::3, ALPHA] = np.nan
    values[1::5, ROLL_RATE] = -0.0
    block = FrameBlock(1_900_000_000_000_000_000 + np.arange(rows, dtype=np.int64), values)
    lines = encode_frames(block, Format.NDJSON).splitlines()
    # json and pyarrow are the outside readers: missing is null in both, and every bit of a number is kept.
    assert [json.loads(line) for line in lines] == module.frames_table(block, module.mask_of(block)).to_pylist()
