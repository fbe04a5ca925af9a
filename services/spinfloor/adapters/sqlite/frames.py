"""Reading frames back from the input journal by time."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Final

import numpy as np

from spinfloor.adapters.sqlite.connection import storage_error
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.frames import PAGE_BATCHES, Extent, page_end
from spinfloor.ports.wire import MASK_AT, MASK_BYTES, decode_block, mask_from

_OLDEST: Final = -(2**63)
_NEWEST: Final = 2**63 - 1
_FROM: Final = """
    FROM inputs WHERE sortie = (SELECT ref FROM sorties WHERE id = ?) AND position > ?
    AND kind = 0 AND rows > 0 AND last_ns >= ? AND first_ns < ?"""
_SIZES: Final = f"SELECT position, rows {_FROM} ORDER BY position LIMIT {PAGE_BATCHES}"
_PAGE: Final = f"SELECT position, body {_FROM} AND position <= ? ORDER BY position"
_MASKS: Final = f"SELECT DISTINCT substr(body, {MASK_AT + 1}, {MASK_BYTES}) {_FROM}"
_EXTENT: Final = """
    SELECT min(first_ns), max(last_ns), sum(rows) FROM inputs
    WHERE sortie = (SELECT ref FROM sorties WHERE id = ?) AND kind = 0 AND rows > 0"""


class SqliteFrames:
    """`FrameStore`."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    async def extent(self, sortie: str) -> Extent:
        """See the port."""
        first, last, rows = (await self._reader.rows(_EXTENT, (sortie,)))[0]
        return Extent(0, 0, 0) if first is None else Extent(first, last, rows)

    async def channels(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> int:
        """See the port."""
        low = _OLDEST if from_ns is None else from_ns
        high = _NEWEST if to_ns is None else to_ns
        return mask_from(row[0] for row in await self._reader.rows(_MASKS, (sortie, -1, low, high)))

    async def blocks(
        self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameBlock]:
        """See the port."""
        low = _OLDEST if from_ns is None else from_ns
        high = _NEWEST if to_ns is None else to_ns
        after = -1
        while sizes := await self._reader.rows(_SIZES, (sortie, after, low, high)):
            end = page_end(sizes)
            rows = await self._reader.rows(_PAGE, (sortie, after, low, high, end))
            after = end
            try:
                block = _joined([decode_block(body) for _, body in rows])
            except ValueError as exc:  # SQLite keeps no checksums: a damaged page may hold a row of the right form
                raise storage_error(exc) from exc
            keep = (block.time_ns >= low) & (block.time_ns < high)
            if not bool(keep.all()):
                block = FrameBlock(block.time_ns[keep], np.ascontiguousarray(block.values[keep]))
            if len(block):
                yield block


def _joined(blocks: list[FrameBlock]) -> FrameBlock:
    if len(blocks) == 1:
        return blocks[0]
    return FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))
