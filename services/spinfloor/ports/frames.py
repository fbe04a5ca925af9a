"""Reading frames back by time."""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Final, Protocol

from spinfloor.core.frames import FrameBlock
from spinfloor.ports.columns import FrameColumns

PAGE_FRAMES: Final = 32_768  # 5 MB


@dataclass(frozen=True, slots=True)
class Extent:
    """Oldest and newest frame time and the number of frames of a sortie; all 0 when there are none."""

    first_ns: int
    last_ns: int
    frames: int


_OLDEST_NS: Final = -(2**63)
_NEWEST_NS: Final = 2**63 - 1


def span(from_ns: int | None, to_ns: int | None) -> tuple[int, int]:
    """For adapters: both ends of a stretch of time, an open one as far as time goes."""
    return _OLDEST_NS if from_ns is None else from_ns, _NEWEST_NS if to_ns is None else to_ns


class FrameStore(Protocol):
    """Frames as they were journalled.

    Order: journal order. Values: bit for bit what was appended. Freshness: whatever `InputJournal.append` has answered
    is there at once in the embedded set; the spread-out set may lag by its archive's delay.
    """

    async def extent(self, sortie: str) -> Extent:
        """Time range and count."""
        ...

    async def channels(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> int:
        """The channels with a value in the batches that reach into a stretch of time, bit = position in CHANNELS."""
        ...

    def blocks(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> AsyncIterator[FrameBlock]:
        """Frames with from_ns <= time_ns < to_ns in blocks of bounded size; a reader that stops costs nothing more.

        A block holds PAGE_FRAMES at most, or one batch that has more.
        """
        ...

    def columns(
        self, sortie: str, channels: int, *, from_ns: int | None = None, to_ns: int | None = None
    ) -> AsyncIterator[FrameColumns]:
        """The same frames, in blocks of the same size, by column and in the contract's units; for exports.

        channels: as from `channels`; these and the required ones get a column.
        """
        ...
