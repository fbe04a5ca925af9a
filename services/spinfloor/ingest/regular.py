"""The regular batch, decoded in a handful of array operations: contract columns, complete, equally long, all numbers.

Anything else takes the long way in `batches`, which finds the words for what is wrong. Both give the same frames, bit for
bit; this one also gives the journal's bytes, whose columns are the ones it has just made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT, CHANNEL_INDEX, CHANNELS, REQUIRED_COLUMNS, TIME_COLUMN
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.wire import join_block

LAYOUTS_KEPT: Final = 256
_REQUIRED: Final = frozenset((TIME_COLUMN, *REQUIRED_COLUMNS))
_KNOWN: Final = frozenset((TIME_COLUMN, *CHANNEL_INDEX))


@dataclass(frozen=True, slots=True)
class _Layout:
    """names: by position in CHANNELS. factors: edge units to SI, a column. spread: for each channel its row, the last
    row (of NaN) for those that are not there."""

    names: tuple[str, ...]
    mask: int
    factors: npt.NDArray[np.float64]
    spread: npt.NDArray[np.intp]


_layouts: dict[tuple[str, ...], _Layout | None] = {}


def regular_block(columns: Mapping[str, Any]) -> tuple[FrameBlock, bytes | None] | None:
    """The block and, when no value is missing or infinite, its bytes (`wire.encode_block`); None: not a regular batch.

    Values that are missing or infinite are still to be looked at row by row.
    """
    layout = _layout_of(tuple(columns))
    if layout is None:
        return None
    times = columns[TIME_COLUMN]
    bodies = [columns[name] for name in layout.names]
    read = _of_bytes(times, bodies) if isinstance(times, bytes) else _of_lists(times, bodies)
    if read is None:
        return None
    time_ns, edge = read
    count = len(layout.names)
    si = np.empty((count + 1, len(time_ns)))
    with np.errstate(over="ignore"):  # what goes beyond any float is missing, as the row check has it
        np.multiply(edge, layout.factors, out=si[:count])
    si[count] = np.nan
    block = FrameBlock(time_ns, si.T.take(layout.spread, axis=1))
    if not len(time_ns) or not np.isfinite(si[:count]).all():
        return block, None
    return block, join_block(time_ns, layout.mask, si[:count])


def _layout_of(names: tuple[str, ...]) -> _Layout | None:
    if names not in _layouts:
        if len(_layouts) >= LAYOUTS_KEPT:
            _layouts.clear()  # somebody makes up orders of names
        _layouts[names] = _make_layout(frozenset(names)) if len(names) <= len(_KNOWN) else None
    return _layouts[names]


def _make_layout(names: frozenset[str]) -> _Layout | None:
    if not _REQUIRED <= names <= _KNOWN:
        return None
    positions = sorted(CHANNEL_INDEX[name] for name in names if name != TIME_COLUMN)
    spread = np.full(CHANNEL_COUNT, len(positions), np.intp)
    spread[positions] = np.arange(len(positions))
    return _Layout(
        tuple(CHANNELS[i].column for i in positions),
        sum(1 << i for i in positions),
        np.array([[CHANNELS[i].si_per_unit] for i in positions]),
        spread,
    )


_Read = tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]


def _of_bytes(times: bytes, bodies: Sequence[Any]) -> _Read | None:
    length = len(times)
    if length % 8 or any(not isinstance(body, bytes) or len(body) != length for body in bodies):
        return None
    time_ns = np.frombuffer(times, "<i8").astype(np.int64)
    return time_ns, np.frombuffer(b"".join(bodies), "<f8").reshape(len(bodies), length // 8)


def _of_lists(times: Any, bodies: Sequence[Any]) -> _Read | None:
    if not isinstance(times, list) or not all(isinstance(body, list) for body in bodies):
        return None
    try:
        time_ns = np.asarray(times)
        edge = np.array(bodies, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):  # lists of several lengths, numbers beyond any float
        return None
    if time_ns.dtype != np.int64 or edge.shape != (len(bodies), len(time_ns)):
        return None
    return time_ns, edge
