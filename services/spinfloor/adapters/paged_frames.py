"""Both ways to read frames back, over pages of stored batches: the same for every database that keeps them."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Callable, Sequence

from spinfloor.core.frames import FrameBlock
from spinfloor.ports.columns import FrameColumns, Page, block_of, columns_of, within
from spinfloor.ports.errors import StorageError
from spinfloor.ports.frames import span

Making = Callable[[Sequence[bytes]], Page]


class PagedFrames(ABC):
    """`blocks` and `columns` of a FrameStore."""

    @abstractmethod
    def _pages(self, sortie: str, low: int, high: int, make: Making[Page]) -> AsyncIterator[Page]:
        """What `make` makes of the batches that reach into low <= time_ns < high, PAGE_FRAMES at most (or one batch) at a
        time, in journal order; `make`, and all else that takes time, on a thread."""

    async def blocks(
        self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameBlock]:
        """See the port."""
        low, high = span(from_ns, to_ns)
        async for page in self._pages(sortie, low, high, lambda bodies: within(block_of(bodies), low, high)):
            if len(page):
                yield page

    async def columns(
        self, sortie: str, channels: int, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameColumns]:
        """See the port."""
        low, high = span(from_ns, to_ns)
        async for page in self._pages(
            sortie, low, high, lambda bodies: within(columns_of(bodies, channels), low, high)
        ):
            if len(page):
                yield page


def damaged(exc: ValueError) -> StorageError:
    """For bytes that are none of ours: databases keep checksums of their pages only where they are asked to."""
    return StorageError(
        expected="what was stored",
        got=f"a row that is damaged ({exc})",
        now="nothing was given; check the disk and the file, all other rows are untouched",
    )
