"""The input journal: frames, ticks, marks and floor changes of a sortie in the one order that decides its events."""

from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from spinfloor.core.events import Json, Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.errors import StorageError

FEW: Final = 64  # numbers; so many are looked at one by one in less time than an array operation takes to begin


def extent_of(times: npt.NDArray[np.int64]) -> tuple[int, int]:
    """Smallest and largest; (0, 0) of none."""
    if len(times) > FEW:
        return int(times.min()), int(times.max())
    few = times.tolist()
    return (min(few), max(few)) if few else (0, 0)


@dataclass(frozen=True, slots=True)
class FramesInput:
    """A batch of frames. (source, sequence) is its identity within the sortie; received_ns is the wall clock here.

    body: the block as `wire.encode_block` gives it, when somebody has made it already.
    """

    source: str
    sequence: int
    received_ns: int
    block: FrameBlock
    body: bytes | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class TickInput:
    """Time passing without frames; time_ns in the source's clock."""

    time_ns: int
    received_ns: int


@dataclass(frozen=True, slots=True)
class MarkInput:
    """Something a person did or said. `key` (optional) is its identity: the same key again changes nothing."""

    mark: Mark
    received_ns: int
    key: str | None = None


@dataclass(frozen=True, slots=True)
class FloorsInput:
    """The whole new set of floors (the plan's `floors` object), who set it and when (source clock)."""

    floors: Mapping[str, Json]
    time_ns: int
    by: str
    received_ns: int
    key: str | None = None


Input = FramesInput | TickInput | MarkInput | FloorsInput


@dataclass(frozen=True, slots=True)
class Appended:
    """Where an input landed; `duplicate` when its identity was in the journal already (offset is then the first's)."""

    offset: int
    duplicate: bool


@dataclass(frozen=True, slots=True)
class JournalEntry:
    """An input at its place. Offsets rise within a sortie; they may skip numbers."""

    offset: int
    input: Input


@dataclass(frozen=True, slots=True)
class SourceState:
    """How far a source has got: highest sequence on disk, batches and frames taken, newest frame time."""

    source: str
    last_sequence: int
    batches: int
    frames: int
    last_time_ns: int


def span_of(entry: Input) -> tuple[int, int]:
    """For adapters: first and last time of an input, in the source's clock; (0, 0) of a batch without frames."""
    match entry:
        case FramesInput():
            return extent_of(entry.block.time_ns)
        case MarkInput():
            return entry.mark.time_ns, entry.mark.time_ns
        case TickInput() | FloorsInput():
            return entry.time_ns, entry.time_ns


def behind_a_failed_one() -> StorageError:
    """For adapters: the error of an append whose predecessor could not be stored."""
    return StorageError(
        expected="the inputs before this one to be stored",
        got="one that could not be",
        now="this one was not taken, so that their order is kept; send them again from the first that failed",
    )


class InputJournal(Protocol):
    """The order of record.

    Durability: `append` returns when the input is on disk; a process or machine that dies afterwards loses nothing.
    Order: offsets rise in the order appends were taken; two appends by one caller, the first awaited, keep order. Of
    appends of a sortie under way at once one that fails takes with it those offered after it and before it was told, so
    that a sender which goes on from it changes no order. (A store that fails for one message and not for the next, both
    under way, is the exception: a message server whose disk is emptied at that moment.)
    Duplicates: none; an identity seen before is answered with `duplicate` and changes nothing, however old it is.
    Loss: none after the answer. Without an answer the caller doesn't know, and sends again.
    Backpressure: a bounded number of waiting appends per sortie; beyond it `append` raises OverloadedError at once and
    takes nothing, so one flooding sortie never holds up another.
    """

    async def append(self, sortie: str, entry: Input) -> Appended:
        """Journal one input. Raises OverloadedError, StorageError, UnknownSortieError."""
        ...

    async def append_all(self, sortie: str, entries: Sequence[Input]) -> list[Appended]:
        """Several inputs in order, as if one after another, in as few disk writes as the store can; for imports.

        A failure in between may leave the first of them journalled, never one without those before it.
        """
        ...

    async def read(self, sortie: str, *, after: int = -1, limit: int = 256) -> list[JournalEntry]:
        """Up to `limit` entries with offset > after, in order; empty at the end."""
        ...

    def follow(self, sortie: str, *, after: int = -1) -> AsyncIterator[list[JournalEntry]]:
        """Entries with offset > after, in order, none left out or repeated, waiting for new ones for ever.

        A slow reader is never skipped: it is fed from disk, and memory stays bounded.
        """
        ...

    async def newest_offset(self, sortie: str) -> int:
        """Offset of the newest entry, -1 when there is none."""
        ...

    async def sources(self, sortie: str) -> list[SourceState]:
        """How far each source has got; a sender resumes from here."""
        ...
