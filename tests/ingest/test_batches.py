"""Decoding batches: the quick way and the long way give the same frames; nothing is guessed."""

from __future__ import annotations

import msgspec
import numpy as np
import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from spinfloor.client import encode_batch
from spinfloor.core.channels import CHANNEL_COUNT, COLUMN_NAMES, NORMAL_LOAD, TIME_COLUMN
from spinfloor.core.frames import ColumnError, FrameBlock
from spinfloor.ingest.batches import MAX_ROWS, BatchError, Wire, batch_of, make_batch, read_json, read_msgpack
from spinfloor.ingest.rows import LATEST_NS, backwards, check_rows
from spinfloor.ports.wire import decode_block, encode_block

VALUES = st.one_of(st.just(float("nan")), st.floats(-1e6, 1e6), st.just(float("inf")))


@st.composite
def blocks(draw: st.DrawFn) -> FrameBlock:
    n = draw(st.integers(1, 6))
    times = draw(st.lists(st.integers(-10, LATEST_NS + 10), min_size=n, max_size=n))
    return FrameBlock(np.array(times, np.int64), draw(arrays(np.float64, (n, CHANNEL_COUNT), elements=VALUES)))


@settings(max_examples=100, deadline=None)
@given(blocks())
def test_packed_columns_take_the_quick_way_to_the_same_frames(block: FrameBlock) -> None:
    quick = batch_of(read_msgpack(encode_batch("s", 0, block)))
    long = make_batch("s", 0, block.to_columns())
    assert quick.block.values.tobytes() == long.block.values.tobytes()
    np.testing.assert_array_equal(quick.block.time_ns, long.block.time_ns)
    assert quick.problems == long.problems


@settings(max_examples=100, deadline=None)
@given(blocks())
def test_lists_take_the_quick_way_to_the_same_frames(block: FrameBlock) -> None:
    columns = {
        name: [None if value != value else value for value in column.tolist()]
        for name, column in block.to_columns().items()
    }
    body = msgspec.msgpack.encode({"source": "s", "sequence": 0, "columns": columns})
    quick, long = batch_of(read_msgpack(body)), make_batch("s", 0, columns)
    assert quick.block.values.tobytes() == long.block.values.tobytes()
    np.testing.assert_array_equal(quick.block.time_ns, long.block.time_ns)
    assert quick.problems == long.problems


@settings(max_examples=100, deadline=None)
@given(blocks())
def test_bytes_made_on_the_way_are_the_journals_own(block: FrameBlock) -> None:
    for batch in (batch_of(read_msgpack(encode_batch("s", 0, block))), make_batch("s", 0, block.to_columns())):
        assert batch.body is None or batch.body == encode_block(batch.block)
    whole = FrameBlock(np.arange(len(block)), np.nan_to_num(block.values, posinf=0.0))
    regular = batch_of(read_msgpack(encode_batch("s", 0, whole)))
    assert regular.body == encode_block(regular.block)


@pytest.mark.parametrize(
    "bad",
    [
        {"time_ns": [1.5, 2.0]},
        {"time_ns": [1, 2, 3]},
        {"roll_rate_dps": [1.0]},
        {"roll_rate_dps": b"12345678"},
        {"time_ns": b"1234567"},
        {"beta_deg": [1, 10**400]},
    ],
)
def test_what_is_not_regular_is_refused_in_words(bad: dict[str, object]) -> None:
    good: dict[str, object] = {TIME_COLUMN: [1, 2], **{name: [1.0, 2.0] for name in COLUMN_NAMES[:4]}}
    assert make_batch("s", 0, good).rows == 2
    with pytest.raises((BatchError, ColumnError)) as refused:
        batch_of(Wire("s", 0, {**good, **bad}))
    assert "nothing of this batch was taken" in refused.value.sentence


def test_an_absurd_second_costs_its_row_and_not_the_batch() -> None:
    columns = {"time_s": [1.0, 10**400, None, 2.0], **{name: [1.0] * 4 for name in COLUMN_NAMES[:4]}}
    batch = batch_of(Wire("s", 0, columns))
    assert batch.block.time_ns.tolist() == [1_000_000_000, 2_000_000_000]
    assert [problem.row for problem in batch.problems] == [1, 2]


@pytest.mark.parametrize("time", [{TIME_COLUMN: [1, 2]}, {"time_s": [1.0, 2.0]}])  # the short way and the long one
def test_a_value_beyond_any_float_is_missing(time: dict[str, object]) -> None:
    columns = {**time, **{name: [1.0] * 2 for name in COLUMN_NAMES[:4]}, "normal_load_g": [1.0, 1.7e308]}
    batch = batch_of(Wire("s", 0, columns))
    assert np.isnan(batch.block.values[:, NORMAL_LOAD]).tolist() == [False, True]


@pytest.mark.parametrize("absurd", [2**63, 10**40, -(2**63) - 1, 1e300, float("nan"), None])
def test_an_absurd_nanosecond_costs_its_row_too(absurd: object) -> None:
    columns = {TIME_COLUMN: [1, absurd, 3], **{name: [1.0] * 3 for name in COLUMN_NAMES[:4]}}
    batch = batch_of(Wire("s", 0, columns))
    assert batch.block.time_ns.tolist() == [1, 3]
    assert [(problem.row, problem.kept) for problem in batch.problems] == [(1, False)]


def test_whole_nanoseconds_may_be_written_as_floats() -> None:
    times = [1_900_000_000_000_000_000 + 10_000_000 * i for i in range(3)]
    columns = {TIME_COLUMN: [float(t) for t in times], **{name: [1.0] * 3 for name in COLUMN_NAMES[:4]}}
    batch = batch_of(Wire("s", 0, columns))
    assert np.abs(batch.block.time_ns - times).max() <= 128  # half the step of a float there


def test_two_columns_of_time_are_refused() -> None:
    columns = {"time_s": [1.0], TIME_COLUMN: [1], **{name: [1.0] for name in COLUMN_NAMES[:4]}}
    with pytest.raises(ColumnError, match="either time_ns or time_s; got both"):
        batch_of(read_json(orjson.dumps({"source": "s", "sequence": 0, "columns": columns})))


@settings(max_examples=100, deadline=None)
@given(blocks())
def test_a_block_comes_back_from_its_bytes_bit_for_bit(block: FrameBlock) -> None:
    back = decode_block(encode_block(block))
    np.testing.assert_array_equal(back.time_ns, block.time_ns)
    np.testing.assert_array_equal(back.values, block.values)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_random_bytes_end_in_an_error_of_ours(body: bytes) -> None:
    for read in (read_json, read_msgpack):
        with pytest.raises((BatchError, ColumnError)) as refused:
            batch_of(read(body))
        assert refused.value.http_status == 422


def test_one_row_too_many_is_refused() -> None:
    times = np.zeros(MAX_ROWS + 1, np.int64)
    columns = {name: np.zeros(MAX_ROWS + 1).tobytes() for name in COLUMN_NAMES[:4]}
    body = msgspec.msgpack.encode({"source": "s", "sequence": 0, "columns": {TIME_COLUMN: times.tobytes(), **columns}})
    with pytest.raises(BatchError, match="200000 rows"):
        batch_of(read_msgpack(body))


@pytest.mark.parametrize("source", ["", "a b", "\x00key:x", "x" * 65, "ä"])
def test_a_source_has_a_plain_name(source: str) -> None:
    with pytest.raises(BatchError):
        batch_of(read_json(orjson.dumps({"source": source, "sequence": 0, "columns": {}})))


def test_infinities_become_missing_and_times_out_of_range_go() -> None:
    values = np.ones((3, CHANNEL_COUNT))
    values[1, 7] = np.inf
    checked, problems = check_rows(FrameBlock(np.array([1, 2, -1], np.int64), values))
    assert len(checked) == 2
    assert np.isnan(checked.values[1, 7])
    assert [(p.row, p.kept) for p in problems] == [(2, False)]


@pytest.mark.parametrize(
    ("times", "newest", "places"),
    [
        ([1, 2, 3], None, []),
        ([1, 1, 2], None, [1]),
        ([5, 9, 7, 8], 5, [0, 2, 3]),
        ([6], 5, []),
        ([], 5, []),
        ([*range(100, 200)], 149, [*range(50)]),  # what overlaps with the batch before
        ([9 * 10**9, 10**9, 10**9 + 1, 10**9 + 2], None, [1]),  # the clock was set back
    ],
)
def test_a_time_that_does_not_rise_is_found(times: list[int], newest: int | None, places: list[int]) -> None:
    assert backwards(np.array(times, np.int64), newest) == places
