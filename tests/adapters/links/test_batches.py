"""Batches under a source's own names: what the reader of recordings makes of the same data is the measure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from spinfloor.adapters.links.batches import BatchMapper
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.channels import ALPHA, PRESSURE_ALTITUDE, ROLL_RATE, YAW_RATE
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap
from spinfloor.ingest.batches import BatchError, Wire

MAP: dict[str, Any] = {
    "time": {"source": "T", "unit": "s", "start": "2031-05-07T09:00:00Z"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "rad/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "rad/s"},
        "yaw_rate_dps": {"source": "R", "unit": "rad/s", "sign": -1},
        "pressure_altitude_ft": {"source": "Hp", "unit": "m", "rate_hz": 10.0, "delay_s": 0.04},
    },
}
# Without a delay: a delayed sample comes after the frames it belongs to, and a live source cannot be waited for.
AT_ONCE = {**MAP, "columns": {**MAP["columns"], "pressure_altitude_ft": {"source": "Hp", "unit": "m", "rate_hz": 10.0}}}
N = 100


def columns() -> dict[str, list[float | None]]:
    """50 rows a second; height in every fifth."""
    seconds = [k / 50.0 for k in range(N)]
    return {
        "T": list(seconds),
        "P": [1.481] * N,
        "Q": [0.01 * k for k in range(N)],
        "R": [-1.481 - 0.001 * k for k in range(N)],
        "Hp": [3000.0 - 45.72 * t if k % 5 == 0 else None for k, t in enumerate(seconds)],
        "spare": [0.0] * N,
    }


def mapped(mapper: BatchMapper, sizes: list[int], given_: dict[str, list[float | None]]) -> FrameBlock:
    """The columns in batches of these sizes, and then the rest."""
    blocks, first, n = [], 0, len(given_["T"])
    for sequence, size in enumerate([*sizes, n]):
        piece = {name: values[first : first + size] for name, values in given_.items()}
        blocks.append(mapper.take(Wire("s", sequence, piece)).block)
        first = min(first + size, n)
    return FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))


@settings(max_examples=30, deadline=None)
@given(sizes=st.lists(st.integers(1, 30), max_size=8))
def test_any_cut_into_batches_gives_what_the_recording_gives(
    tmp_path_factory: pytest.TempPathFactory, sizes: list[int]
) -> None:
    path: Path = tmp_path_factory.getbasetemp() / "own-names.csv"
    if not path.exists():
        pd.DataFrame(columns()).to_csv(path, index=False)
    whole = read_recording(path, AT_ONCE).block
    block = mapped(BatchMapper(ChannelMap.model_validate(AT_ONCE)), sizes, columns())
    assert_array_equal(block.time_ns, whole.time_ns)
    assert_array_equal(block.values, whole.values)


def test_units_signs_and_delays_worked_by_hand() -> None:
    block = mapped(BatchMapper(ChannelMap.model_validate(MAP)), [], columns())
    assert str(np.datetime64(int(block.time_ns[0]), "ns").astype("datetime64[s]")) == "2031-05-07T09:00:00"
    assert_allclose(block.values[:, ROLL_RATE], 1.481)
    assert_allclose(block.values[:2, YAW_RATE], [1.481, 1.482])
    # stamped 0.04 s late, so the sample of row 5 (0.10 s) was true at 0.06 s, row 3; held for 1.25 / 10 Hz = 0.125 s
    assert_allclose(block.values[3:8, PRESSURE_ALTITUDE], 3000.0 - 4.572)


def test_a_silent_slow_channel_is_held_no_longer_than_its_limit_across_batches() -> None:
    mapper = BatchMapper(ChannelMap.model_validate(MAP))
    given_ = columns()
    given_["Hp"] = [3000.0, *[None] * (N - 1)]
    block = mapped(mapper, [1] * 20, given_)
    there = ~np.isnan(block.values[:, PRESSURE_ALTITUDE])
    assert there.sum() == 5  # 0 to 0.08 s: true at -0.04 s, held for 0.125 s


def test_a_time_vector_for_each_rate() -> None:
    own = {
        **MAP,
        "columns": {
            **MAP["columns"],
            "alpha_deg": {"source": "A", "unit": "deg", "time": {"source": "TA", "unit": "ms"}, "delay_s": 0.0},
        },
    }
    own["columns"]["alpha_deg"]["time"]["start"] = MAP["time"]["start"]
    mapper = BatchMapper(ChannelMap.model_validate(own))
    given_: dict[str, Any] = {**columns(), "TA": [0, 100, 200], "A": [10.0, 11.0, 12.0]}
    block = mapper.take(Wire("s", 0, given_)).block
    assert_allclose(np.rad2deg(block.values[[0, 4, 5, 9, 10], ALPHA]), [10.0, 10.0, 11.0, 11.0, 12.0])


def test_a_batch_again_makes_the_same_frames_and_rows_without_time_are_told() -> None:
    mapper = BatchMapper(ChannelMap.model_validate(MAP))
    given_ = columns()
    given_["T"][7] = None
    first = mapper.take(Wire("s", 0, given_))
    again = mapper.take(Wire("s", 0, given_))
    assert_array_equal(first.block.time_ns, again.block.time_ns)
    assert len(first.block) == N - 1
    assert [(p.row, p.kept, p.reason) for p in first.problems if not p.kept] == [
        (N - 1, False, "row 7 as sent has no usable time")
    ]
    assert first.rows == N


def test_a_clock_that_starts_again_goes_on_over_batches() -> None:
    own = {**MAP, "time": {"source": "T", "unit": "s", "wraps_s": 86_400.0}}
    mapper = BatchMapper(ChannelMap.model_validate(own))
    given_ = columns()
    given_["T"] = [(86_399.0 + k / 50.0) % 86_400.0 for k in range(N)]
    steps = np.diff(mapped(mapper, [50], given_).time_ns)
    assert_allclose(steps, 20_000_000, atol=20)


def test_a_row_without_a_time_is_no_new_start_of_the_clock() -> None:
    own = {**MAP, "time": {"source": "T", "unit": "s", "wraps_s": 3_600.0}}
    mapper = BatchMapper(ChannelMap.model_validate(own))
    given_ = columns()
    given_["T"] = [1_799.0 + k / 50.0 for k in range(N)]  # across half a period, where a step back or on may be a wrap
    given_["T"][50] = None  # the first row of the second batch
    block = mapped(mapper, [50], given_)
    assert_allclose(block.time_ns / 1e9, [t for t in given_["T"] if t is not None], atol=1e-6)


def test_an_even_grid_goes_on_over_batches_and_not_over_gaps() -> None:
    mapper = BatchMapper(ChannelMap.model_validate({**MAP, "rate_hz": 25.0}))
    block = mapped(mapper, [13, 17], columns())
    assert set(np.diff(block.time_ns).tolist()) == {40_000_000}
    later = columns()
    later["T"] = [1e8 + k / 50.0 for k in range(N)]
    assert len(mapper.take(Wire("s", 9, later)).block) == 50


NUMBERS = st.one_of(st.none(), st.integers(-(2**70), 2**70), st.floats(allow_nan=True), st.integers(0, 5))


@settings(max_examples=150, deadline=None)
@given(
    data=st.dictionaries(st.sampled_from(["T", "P", "Q", "R", "Hp", "x"]), st.lists(NUMBERS, max_size=6)),
    rate=st.sampled_from([None, 50.0]),
)
def test_any_columns_end_in_frames_or_a_sentence(data: dict[str, Any], rate: float | None) -> None:
    mapper = BatchMapper(ChannelMap.model_validate({**MAP, "rate_hz": rate}))
    sentence = "."
    try:
        batch = mapper.take(Wire("s", 0, data))
        assert batch.rows >= len(batch.block)
    except SpinfloorError as error:
        sentence = error.sentence
    assert sentence.endswith(".")


def test_packed_bytes_that_are_no_whole_numbers_are_refused() -> None:
    mapper = BatchMapper(ChannelMap.model_validate(MAP))
    packed = {name: np.ones(3).tobytes()[:-1] for name in "TPQR"} | {"Hp": np.ones(3).tobytes()[:-1]}
    with pytest.raises(BatchError, match="whole 8-byte numbers"):
        mapper.take(Wire("s", 0, packed))
