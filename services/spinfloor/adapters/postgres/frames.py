"""Reading frames back from the archive by time."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Final

from spinfloor.adapters.paged_frames import Making, PagedFrames, damaged
from spinfloor.adapters.postgres.database import Database
from spinfloor.ports.columns import Page
from spinfloor.ports.frames import PAGE_FRAMES, Extent, span
from spinfloor.ports.wire import MASK_AT, MASK_BYTES, mask_from

PAGE_BATCHES: Final = 4096
_FROM: Final = (
    "FROM inputs WHERE sortie = $1 AND position > $2 AND kind = 0 AND rows > 0 AND last_ns >= $3 AND first_ns < $4"
)
_COUNTED: Final = f"""
    SELECT position, rows, body, sum(rows) OVER (ORDER BY position) AS frames {_FROM}
    ORDER BY position LIMIT {PAGE_BATCHES}"""
_PAGE: Final = f"""
    SELECT position, body FROM ({_COUNTED}) AS counted
    WHERE frames <= {PAGE_FRAMES} OR frames = rows ORDER BY position"""
_MASKS: Final = f"SELECT DISTINCT substring(body FROM {MASK_AT + 1} FOR {MASK_BYTES}) {_FROM}"
_EXTENT: Final = (
    "SELECT min(first_ns), max(last_ns), sum(rows)::bigint FROM inputs WHERE sortie = $1 AND kind = 0 AND rows > 0"
)


class PostgresFrames(PagedFrames):
    """FrameStore; behind the journal by the archive's delay."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def extent(self, sortie: str) -> Extent:
        """See FrameStore."""
        first, last, frames = (await self._database.rows(_EXTENT, sortie))[0]
        return Extent(0, 0, 0) if first is None else Extent(first, last, frames)

    async def channels(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> int:
        """See FrameStore."""
        return mask_from(row[0] for row in await self._database.rows(_MASKS, sortie, -1, *span(from_ns, to_ns)))

    async def _pages(self, sortie: str, low: int, high: int, make: Making[Page]) -> AsyncIterator[Page]:
        after = -1
        while rows := await self._database.rows(_PAGE, sortie, after, low, high):
            after = rows[-1][0]
            try:
                yield await asyncio.to_thread(make, [row[1] for row in rows])
            except ValueError as exc:
                raise damaged(exc) from exc
