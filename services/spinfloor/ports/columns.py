"""Stored batches back as columns: batches of one form are read together, with no work for each frame.

A batch's bytes (`wire`) are columns already. One batch alone is looked at where it lies; many are joined and turned into
columns in one pass, which also divides by the units that are asked for.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT, CHANNELS
from spinfloor.core.frames import Float64Array, FrameBlock, Int64Array
from spinfloor.ports.wire import HEADER, form_of

_WORD: Final = 8
_HEAD_WORDS: Final = HEADER.size // _WORD
REQUIRED_MASK: Final = sum(1 << i for i, channel in enumerate(CHANNELS) if channel.required)


@dataclass(frozen=True, slots=True, eq=False)
class FrameColumns:
    """Frames by column, in the contract's units.

    time_ns: int64, shape (n,). positions: in CHANNELS, ascending. edge: for each of them float64, shape (n,),
    contiguous, NaN where missing; some may not be written to.
    """

    time_ns: Int64Array
    positions: tuple[int, ...]
    edge: tuple[Float64Array, ...]

    def __len__(self) -> int:
        return len(self.time_ns)

    def slice(self, start: int, stop: int) -> FrameColumns:
        """Frames start (included) to stop (excluded), without copying."""
        return FrameColumns(self.time_ns[start:stop], self.positions, tuple(c[start:stop] for c in self.edge))


def positions_in(mask: int) -> tuple[int, ...]:
    """Positions of the channels that get a column: the required ones and those in the mask."""
    wanted = mask | REQUIRED_MASK
    return tuple(i for i in range(CHANNEL_COUNT) if wanted >> i & 1)


def columns_of_block(block: FrameBlock, mask: int) -> FrameColumns:
    """A block by column. mask: the channels that get one beside those required, bit = position in CHANNELS."""
    positions = positions_in(mask)
    return FrameColumns(
        block.time_ns, positions, tuple(block.values[:, i] / CHANNELS[i].si_per_unit for i in positions)
    )


def columns_of(bodies: Sequence[bytes], mask: int) -> FrameColumns:
    """Batches, one at least, behind one another. mask: as in `columns_of_block`. Raises ValueError for bytes that are none."""
    positions = positions_in(mask)
    units = [CHANNELS[i].si_per_unit for i in positions]
    if len(bodies) == 1:
        form = _Form.of(bodies[0])
        words = np.frombuffer(bodies[0], "<i8")
        floats = words[_HEAD_WORDS + form.rows :].view("<f8").reshape(len(form.places), form.rows)
        alone = [_edge(floats, form, position, unit) for position, unit in zip(positions, units, strict=True)]
        return FrameColumns(words[_HEAD_WORDS : _HEAD_WORDS + form.rows], positions, tuple(alone))
    groups = _grouped(bodies)
    time_ns, edge = _room(groups, len(positions))
    _fill(groups, time_ns, edge, positions, np.array(units))
    return FrameColumns(time_ns, positions, tuple(edge))


def block_of(bodies: Sequence[bytes]) -> FrameBlock:
    """Batches, one at least, as one block, bit for bit. Raises ValueError for bytes that are none."""
    groups = _grouped(bodies)
    time_ns, _ = _room(groups, 0)
    values = np.empty((len(time_ns), CHANNEL_COUNT))
    _fill(groups, time_ns, values.T, tuple(range(CHANNEL_COUNT)), None)
    return FrameBlock(time_ns, values)


Page = TypeVar("Page", FrameBlock, FrameColumns)


def within(page: Page, from_ns: int, to_ns: int) -> Page:
    """The frames with from_ns <= time_ns < to_ns; the same object when all are."""
    keep = (page.time_ns >= from_ns) & (page.time_ns < to_ns)
    if bool(keep.all()):
        return page
    if isinstance(page, FrameBlock):
        return FrameBlock(page.time_ns[keep], np.ascontiguousarray(page.values[keep]))
    return FrameColumns(page.time_ns[keep], page.positions, tuple(column[keep] for column in page.edge))


@dataclass(frozen=True, slots=True)
class _Form:
    """What batches of one form have in common. places: position in CHANNELS -> row of its column."""

    rows: int
    places: dict[int, int]

    @classmethod
    def of(cls, body: bytes) -> _Form:
        rows, positions = form_of(body)
        return cls(rows, {position: row for row, position in enumerate(positions)})


_Groups: TypeAlias = list[tuple[_Form, list[bytes]]]


def _grouped(bodies: Sequence[bytes]) -> _Groups:
    groups = []
    for _, alike in itertools.groupby(bodies, key=_alike):
        some = list(alike)
        groups.append((_Form.of(some[0]), some))
    return groups


def _alike(body: bytes) -> tuple[int, bytes]:
    return len(body), body[: HEADER.size]


def _room(groups: _Groups, columns: int) -> tuple[Int64Array, Float64Array]:
    total = sum(form.rows * len(some) for form, some in groups)
    return np.empty(total, np.int64), np.empty((columns, total))


def _fill(
    groups: _Groups,
    time_ns: Int64Array,
    columns: Float64Array,
    positions: tuple[int, ...],
    units: Float64Array | None,
) -> None:
    """columns: a row for each of positions, whatever its strides; units: what each is divided by."""
    start = 0
    for form, some in groups:
        count, rows = len(some), form.rows
        stop = start + count * rows
        words = np.frombuffer(some[0] if count == 1 else b"".join(some), "<i8").reshape(count, -1)
        time_ns[start:stop].reshape(count, rows)[...] = words[:, _HEAD_WORDS : _HEAD_WORDS + rows]
        floats = words[:, _HEAD_WORDS + rows :].view("<f8").reshape(count, len(form.places), rows).transpose(1, 0, 2)
        out = columns[:, start:stop].reshape(len(positions), count, rows)
        if tuple(form.places) == positions:
            _put(floats, out, None if units is None else units[:, None, None])
        else:
            for row, position in enumerate(positions):
                if position in form.places:
                    _put(floats[form.places[position]], out[row], None if units is None else units[row])
                else:
                    out[row] = np.nan
        start = stop


def _put(floats: npt.NDArray[np.float64], out: npt.NDArray[np.float64], units: npt.ArrayLike | None) -> None:
    if units is None:
        out[...] = floats
    else:
        np.divide(floats, units, out=out)


def _edge(floats: Float64Array, form: _Form, position: int, unit: float) -> Float64Array:
    if position not in form.places:
        return np.full(form.rows, np.nan)
    column: Float64Array = floats[form.places[position]]
    return column if unit == 1.0 else column / unit
