"""Reading frames back by time."""

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from spinfloor.core.frames import FrameBlock

PAGE_BATCHES: Final = 512
PAGE_FRAMES: Final = 32_768  # 5 MB


@dataclass(frozen=True, slots=True)
class Extent:
    """Oldest and newest frame time and the number of frames of a sortie; all 0 when there are none."""

    first_ns: int
    last_ns: int
    frames: int


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


def page_end(batches: Sequence[tuple[int, int]]) -> int:
    """Of (position, frames), ascending, the last position of a page of at most PAGE_FRAMES; at least the first."""
    end, frames = batches[0]
    for position, more in batches[1:]:
        frames += more
        if frames > PAGE_FRAMES:
            break
        end = position
    return end
