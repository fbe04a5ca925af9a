"""The table of spins has the same columns whatever has happened, so that those of a programme can be joined."""

from __future__ import annotations

import csv
import io
from typing import Any

import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from spinfloor.adapters.exports import Format, encode_spins
from spinfloor.adapters.exports.spins import COLUMNS
from spinfloor.archive.spin_table import spin_table
from spinfloor.core.events import Event, Kind

BEGUN = {"spin": 1, "orientation": "upright", "direction": "left", "altitude_ft": 9000.0, "reversed": False}
TURN = {"turns": 1.0, "turns_about_vertical": 0.9, "altitude_ft": 8500.0, "loss_ft": 500.0, "seconds": 3.0}
ENDED = {"turns": 2.0, "turns_about_vertical": 1.9, "recovery_turns": 0.5, "altitude_ft": 8000.0, "loss_ft": 1000.0}
LEVEL = {
    "altitude_ft": 7000.0,
    "loss_ft": 1500.0,
    "margin_ft": 2000.0,
    "surprise": True,
    "surprises": ["recovery turns"],
}
FLOWN: list[tuple[Kind, dict[str, Any]]] = [
    (Kind.SPIN_STARTED, BEGUN),
    (Kind.SPIN_TURN, TURN),
    (Kind.SPIN_ENDED, ENDED),
    (Kind.RECOVERED, LEVEL),
]


def rows(parts: int) -> list[dict[str, Any]]:
    events = [Event("s", "r", i, kind, i, i, data) for i, (kind, data) in enumerate(FLOWN[:parts])]
    return [{"sortie": "s", **row} for row in spin_table(events, {})]


@pytest.mark.parametrize("parts", range(5))
def test_no_spin_one_under_way_and_one_flown_have_the_same_columns(parts: int) -> None:
    parquet = pq.read_table(io.BytesIO(encode_spins(rows(parts), Format.PARQUET)))
    arrow = pa.ipc.open_stream(encode_spins(rows(parts), Format.ARROW)).read_all()
    header = next(csv.reader(io.StringIO(encode_spins(rows(parts), Format.CSV).decode())))
    assert dict(zip(parquet.schema.names, parquet.schema.types, strict=True)) == COLUMNS
    assert arrow.schema.equals(parquet.schema)
    assert header == list(COLUMNS)
    assert parquet.num_rows == arrow.num_rows == (1 if parts else 0)


def test_nothing_of_a_row_is_left_out() -> None:
    (row,) = rows(4)
    (told,) = pq.read_table(io.BytesIO(encode_spins([row], Format.PARQUET))).to_pylist()
    assert set(row) == set(told)
    for name, value in row.items():
        nested = isinstance(value, list | dict)
        assert (orjson.loads(told[name]) if nested else told[name]) == value, name


def test_what_does_not_fit_its_column_is_missing() -> None:
    odd = {**rows(4)[0], "turns": "two", "oscillatory": 1, "end_ns": 2**70, "card": 7, "start_ns": True, "loss_ft": 5}
    (told,) = pq.read_table(io.BytesIO(encode_spins([odd], Format.PARQUET))).to_pylist()
    assert [told[n] for n in ("turns", "oscillatory", "end_ns", "card", "start_ns", "loss_ft")] == [
        None,
        None,
        None,
        "7",
        None,
        5.0,
    ]
