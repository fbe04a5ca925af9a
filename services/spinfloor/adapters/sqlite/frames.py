"""Reading frames back from the input journal by time."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator
from typing import Final

from spinfloor.adapters.paged_frames import Making, PagedFrames, damaged
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.ports.columns import Page
from spinfloor.ports.frames import PAGE_FRAMES, Extent, span
from spinfloor.ports.wire import MASK_AT, MASK_BYTES, mask_from

_FROM: Final = """
    FROM inputs WHERE sortie = (SELECT ref FROM sorties WHERE id = ?) AND position > ?
    AND kind = 0 AND rows > 0 AND last_ns >= ? AND first_ns < ?"""
_PAGE: Final = f"SELECT position, rows, body {_FROM} ORDER BY position"
_MASKS: Final = f"SELECT DISTINCT substr(body, {MASK_AT + 1}, {MASK_BYTES}) {_FROM}"
_EXTENT: Final = """
    SELECT min(first_ns), max(last_ns), sum(rows) FROM inputs
    WHERE sortie = (SELECT ref FROM sorties WHERE id = ?) AND kind = 0 AND rows > 0"""


class SqliteFrames(PagedFrames):
    """`FrameStore`."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    async def extent(self, sortie: str) -> Extent:
        """See the port."""
        first, last, rows = (await self._reader.rows(_EXTENT, (sortie,)))[0]
        return Extent(0, 0, 0) if first is None else Extent(first, last, rows)

    async def channels(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> int:
        """See the port."""
        low, high = span(from_ns, to_ns)
        return mask_from(row[0] for row in await self._reader.rows(_MASKS, (sortie, -1, low, high)))

    async def _pages(self, sortie: str, low: int, high: int, make: Making[Page]) -> AsyncIterator[Page]:
        after = -1

        def read(connection: sqlite3.Connection) -> tuple[int, Page] | None:
            last, bodies = _page(connection, (sortie, after, low, high))
            try:
                return (last, make(bodies)) if bodies else None
            except ValueError as exc:
                raise damaged(exc) from exc

        while (found := await self._reader.run(read)) is not None:
            after, page = found
            yield page


def _page(connection: sqlite3.Connection, parameters: tuple[str, int, int, int]) -> tuple[int, list[bytes]]:
    """The position of the last, and batches of PAGE_FRAMES frames at most; one at least, if there is one."""
    bodies: list[bytes] = []
    last, frames = -1, 0
    cursor = connection.execute(_PAGE, parameters)
    try:
        for position, rows, body in cursor:
            frames += rows
            if bodies and frames > PAGE_FRAMES:
                break
            last = position
            bodies.append(body)
    finally:
        cursor.close()
    return last, bodies
