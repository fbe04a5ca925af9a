"""Frames as lines of JSON: the same numbers as the Arrow table, over the edges of the pieces they are written in."""

from __future__ import annotations

import json

import numpy as np
import pytest

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.adapters.exports import frames as module
from spinfloor.core.channels import (
    ALPHA,
    CHANNEL_COUNT,
    EVENT_MARKER,
    PITCH_RATE,
    PRESSURE_ALTITUDE,
    ROLL_RATE,
    YAW_RATE,
)
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.columns import columns_of, columns_of_block
from spinfloor.ports.wire import encode_block, mask_of


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
    batch = module.frames_batch(columns_of_block(block, mask_of(block)))
    batch.validate(full=True)
    assert [json.loads(line) for line in lines] == batch.to_pylist()


def test_a_table_is_the_columns_and_no_copy_of_them() -> None:
    values = np.full((50, CHANNEL_COUNT), np.nan)
    values[:, : PRESSURE_ALTITUDE + 1] = np.random.default_rng(4).normal(0.0, 1.0, (50, PRESSURE_ALTITUDE + 1))
    values[3:, EVENT_MARKER] = 1.0
    block = FrameBlock(1_900_000_000_000_000_000 + np.arange(50, dtype=np.int64), values)
    body = encode_block(block)
    columns = columns_of([body], mask_of(block))
    batch = module.frames_batch(columns)
    batch.validate(full=True)
    stored = np.frombuffer(body, np.uint8)
    lies_there = [np.shares_memory(stored, np.frombuffer(column.buffers()[1], np.uint8)) for column in batch.columns]
    # The time and the channel whose unit is the core's are the journal's own bytes; the others are divided by their unit, once.
    assert lies_there == [True, False, False, False, False, True]
    assert all(
        np.shares_memory(edge, np.frombuffer(column.buffers()[1], np.uint8))
        for edge, column in zip(columns.edge, batch.columns[1:], strict=True)
    )
    assert batch.column("event_marker").null_count == 3
