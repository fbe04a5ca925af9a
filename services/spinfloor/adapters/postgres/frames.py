"""Reading frames back from the archive by time."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Final

import numpy as np

from spinfloor.adapters.postgres.database import Database
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.frames import Extent
from spinfloor.ports.wire import decode_block

PAGE_BATCHES: Final = 512
_OLDEST: Final = -(2**63)
_NEWEST: Final = 2**63 - 1
_PAGE: Final = (
    "SELECT position, body FROM inputs WHERE sortie = $1 AND position > $2 AND kind = 0 AND last_ns >= $3"
    " AND first_ns < $4 ORDER BY position LIMIT $5"
)
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

    async def blocks(
        self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameBlock]:
        """See FrameStore."""
        low = _OLDEST if from_ns is None else from_ns
        high = _NEWEST if to_ns is None else to_ns
        after = -1
        while rows := await self._database.rows(_PAGE, sortie, after, low, high, PAGE_BATCHES):
            after = rows[-1][0]
            blocks = [decode_block(row[1]) for row in rows]
            time_ns = np.concatenate([block.time_ns for block in blocks])
            values = np.concatenate([block.values for block in blocks])
            keep = (time_ns >= low) & (time_ns < high)
            if bool(keep.any()):
                yield FrameBlock(time_ns[keep], np.ascontiguousarray(values[keep]))
