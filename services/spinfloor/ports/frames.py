"""Reading frames back by time."""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Protocol

from spinfloor.core.frames import FrameBlock


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

    def blocks(self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None) -> AsyncIterator[FrameBlock]:
        """Frames with from_ns <= time_ns < to_ns in blocks of bounded size; a reader that stops costs nothing more."""
        ...
