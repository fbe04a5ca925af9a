"""Reading frames back from the archive by time."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Final

import numpy as np

from spinfloor.adapters.postgres.database import Database
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.frames import PAGE_BATCHES, Extent, page_end
from spinfloor.ports.wire import MASK_AT, MASK_BYTES, decode_block, mask_from

_OLDEST: Final = -(2**63)
_NEWEST: Final = 2**63 - 1
_FROM: Final = (
    "FROM inputs WHERE sortie = $1 AND position > $2 AND kind = 0 AND rows > 0 AND last_ns >= $3 AND first_ns < $4"
)
_SIZES: Final = f"SELECT position, rows {_FROM} ORDER BY position LIMIT {PAGE_BATCHES}"
_PAGE: Final = f"SELECT position, body {_FROM} AND position <= $5 ORDER BY position"
_MASKS: Final = f"SELECT DISTINCT substring(body FROM {MASK_AT + 1} FOR {MASK_BYTES}) {_FROM}"
_EXTENT: Final = (
    "SELECT min(first_ns), max(last_ns), sum(rows)::bigint FROM inputs WHERE sortie = $1 AND kind = 0 AND rows > 0"
)


class PostgresFrames:
    """FrameStore; behind the journal by the archive's delay."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def extent(self, sortie: str) -> Extent:
        """See FrameStore."""
        first, last, frames = (await self._database.rows(_EXTENT, sortie))[0]
        return Extent(0, 0, 0) if first is None else Extent(first, last, frames)

    async def channels(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> int:
        """See FrameStore."""
        low = _OLDEST if from_ns is None else from_ns
        high = _NEWEST if to_ns is None else to_ns
        return mask_from(row[0] for row in await self._database.rows(_MASKS, sortie, -1, low, high))

    async def blocks(
        self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameBlock]:
        """See FrameStore."""
        low = _OLDEST if from_ns is None else from_ns
        high = _NEWEST if to_ns is None else to_ns
        after = -1
        while sizes := await self._database.rows(_SIZES, sortie, after, low, high):
            end = page_end([(row[0], row[1]) for row in sizes])
            rows = await self._database.rows(_PAGE, sortie, after, low, high, end)
            after = end
            blocks = [decode_block(row[1]) for row in rows]
            time_ns = np.concatenate([block.time_ns for block in blocks])
            values = np.concatenate([block.values for block in blocks])
            keep = (time_ns >= low) & (time_ns < high)
            if bool(keep.any()):
                yield FrameBlock(time_ns[keep], np.ascontiguousarray(values[keep]))
