"""What a source sends: a batch, decoded from JSON or MessagePack straight into columns."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

import msgspec
import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import (
    CHANNEL_INDEX,
    TIME_COLUMN,
    TIME_SECONDS_COLUMN,
)
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.regular import regular_block
from spinfloor.ingest.rows import NO_TIME_NS, RowProblem, check_rows, within_times

MAX_ROWS: Final = 200_000  # over half an hour at 100 Hz; a longer recording is sent in pieces
_NS_BEYOND: Final = 2**63
MAX_COLUMNS: Final = 64  # the contract has fewer; more are named in no sentence
SOURCE_PATTERN: Final = r"^[A-Za-z0-9][A-Za-z0-9._:-]{0,63}$"

_NAMES: Final = frozenset((*CHANNEL_INDEX, TIME_COLUMN, TIME_SECONDS_COLUMN))

_Source = Annotated[str, msgspec.Meta(pattern=SOURCE_PATTERN)]
_Sequence = Annotated[int, msgspec.Meta(ge=0, le=2**62)]
_Number = int | float | None


class BatchError(SpinfloorError):
    """The bytes are not a batch."""

    code = "bad-batch"
    http_status = 422


class _JsonBatch(msgspec.Struct, forbid_unknown_fields=True):
    source: _Source
    sequence: _Sequence
    columns: dict[str, list[_Number]]


class _PackedBatch(msgspec.Struct, forbid_unknown_fields=True):
    source: _Source
    sequence: _Sequence
    columns: dict[str, list[_Number] | bytes]


class _AnyColumns(msgspec.Struct):
    columns: dict[str, msgspec.Raw]


_JSON: Final = msgspec.json.Decoder(_JsonBatch)
_PACKED: Final = msgspec.msgpack.Decoder(_PackedBatch)
_JSON_COLUMNS: Final = msgspec.json.Decoder(_AnyColumns), msgspec.json.Decoder(list[_Number])
_PACKED_COLUMNS: Final = msgspec.msgpack.Decoder(_AnyColumns), msgspec.msgpack.Decoder(list[_Number] | bytes)
_EXPECTED_GOT: Final = re.compile("Expected (.+), got (`[^`]+`)")


@dataclass(frozen=True, slots=True)
class Batch:
    """A decoded batch. problems: rows that don't count as frames, by their place in what was sent. body: the block's
    bytes for the journal, when they have been made already."""

    source: str
    sequence: int
    rows: int
    block: FrameBlock
    problems: tuple[RowProblem, ...]
    body: bytes | None = None


@dataclass(frozen=True, slots=True)
class Wire:
    """A batch as it came: columns under whatever names, each a list of numbers and nulls, packed bytes or an array."""

    source: str
    sequence: int
    columns: Mapping[str, Any]


def read_json(body: bytes) -> Wire:
    """`{"source", "sequence", "columns": {name: [number or null, ...]}}`. Raises BatchError.

    JSON has no NaN, but many writers put it: taken as missing, as the infinities are.
    """
    wire = _with_nan(body) or _decode(_JSON, body, "JSON", _JSON_COLUMNS)
    return Wire(wire.source, wire.sequence, wire.columns)


def read_msgpack(body: bytes) -> Wire:
    """The same in MessagePack; a column may also be `bin`: little-endian float64 (int64 for time_ns), NaN missing."""
    wire = _decode(_PACKED, body, "MessagePack", _PACKED_COLUMNS)
    return Wire(wire.source, wire.sequence, wire.columns)


def in_contract_names(wire: Wire) -> bool:
    """False when a column has a name of the source's own."""
    return wire.columns.keys() <= _NAMES


def _with_nan(body: bytes) -> _JsonBatch | None:
    """A batch with NaN or Infinity in it; None: decode it as what it is."""
    if b"NaN" not in body and b"Infinity" not in body:
        return None
    try:
        return msgspec.convert(json.loads(body), _JsonBatch)
    except (ValueError, RecursionError):
        return None


def _decode(decoder: Any, body: bytes, form: str, columns: tuple[Any, Any]) -> Any:
    try:
        return decoder.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as exc:
        raise BatchError(
            expected=f'{form} with "source", "sequence" and "columns" of numbers or null',
            got=_plain(exc) + _column_at_fault(body, *columns),
            now="nothing of this batch was taken",
        ) from exc


def _plain(exc: Exception) -> str:
    said = (str(exc) or type(exc).__name__).rstrip(".")[:300]
    return _EXPECTED_GOT.sub(r"\2 instead of \1", said)


def _column_at_fault(body: bytes, names: Any, values: Any) -> str:
    """The first column that is no list of numbers, for the sentence."""
    try:
        columns = names.decode(body).columns
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return ""
    for name, raw in columns.items():
        try:
            values.decode(raw)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            return f" in {name[:80]!r}"
    return ""


def batch_of(wire: Wire) -> Batch:
    """Contract columns (edge units) checked row by row. Raises BatchError or ColumnError."""
    regular = regular_block(wire.columns)
    if regular is None:
        return make_batch(wire.source, wire.sequence, wire.columns)
    block, body = regular
    check_size(len(block))
    if body is not None and within_times(block.time_ns):
        return Batch(wire.source, wire.sequence, len(block), block, (), body)
    checked, problems = check_rows(block)
    return Batch(wire.source, wire.sequence, len(block), checked, problems)


def check_size(rows: int) -> None:
    """Raises BatchError for more rows than a batch may have."""
    if rows > MAX_ROWS:
        raise BatchError(
            expected=f"at most {MAX_ROWS} rows in a batch",
            got=f"{rows}",
            now="nothing of this batch was taken; send it in pieces",
        )


def make_batch(source: str, sequence: int, columns: Mapping[str, Any]) -> Batch:
    """Columns (edge units) checked row by row. Raises BatchError or ColumnError."""
    if len(columns) > MAX_COLUMNS:
        raise BatchError(
            expected=f"at most {MAX_COLUMNS} columns in a batch",
            got=f"{len(columns)}",
            now="nothing of this batch was taken",
        )
    ready = {name: _column(name, data) for name, data in columns.items()}
    rows = max((len(c) for c in ready.values()), default=0)
    check_size(rows)
    try:
        whole = FrameBlock.from_columns(ready)
    except OverflowError as exc:
        raise BatchError(
            expected="numbers of at most 64 bits",
            got="a longer one",
            now="nothing of this batch was taken",
        ) from exc
    block, problems = check_rows(whole)
    return Batch(source, sequence, rows, block, problems)


def _column(name: str, data: Any) -> Any:
    if isinstance(data, bytes):
        data = packed(name, data)
    if name == TIME_COLUMN and isinstance(data, list) and data:
        return _nanoseconds(data)
    if name == TIME_SECONDS_COLUMN:
        return _seconds(data)
    if isinstance(data, list) and not data:
        return np.empty(0, np.int64 if name == TIME_COLUMN else np.float64)
    return data


def packed(name: str, data: bytes) -> npt.NDArray[Any]:
    """A column sent as bytes. Raises BatchError when they are no whole numbers of eight bytes."""
    if len(data) % 8:
        raise BatchError(
            expected=f"{name} as bytes to be whole 8-byte numbers",
            got=f"{len(data)} bytes",
            now="nothing of this batch was taken",
            column=name,
        )
    return np.frombuffer(data, dtype="<i8" if name == TIME_COLUMN else "<f8")


def _nanoseconds(data: list[Any]) -> npt.NDArray[Any]:
    """Times as whole numbers, also where they are written as 1.9e18; a missing or absurd one becomes a time that the row
    check refuses, so that only its row goes. Fractions are left for the words about them."""
    whole = [NO_TIME_NS if t is None or not -_NS_BEYOND < t < _NS_BEYOND else t for t in data]
    if all(t == int(t) for t in whole):
        return np.asarray([int(t) for t in whole], dtype=np.int64)
    return np.asarray(data, dtype=np.float64)


def _seconds(data: Any) -> npt.NDArray[np.float64]:
    """Seconds; a missing or absurd one becomes a time that the row check refuses, so that only its row goes."""
    try:
        seconds = np.asarray(data, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):  # one that is no number, or beyond any float
        seconds = np.array([_float(value) for value in data])
    usable = np.isfinite(seconds) & (np.abs(seconds) < 9e9)
    return np.where(usable, seconds, -1.0)


def _float(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return float("nan")
