"""The ingest service: a batch in, an acknowledgement out once it is on disk."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.batches import Batch
from spinfloor.ingest.rows import CLOCK_BACK_NS, RowProblem, backwards
from spinfloor.ports.clock import Clock
from spinfloor.ports.inputs import FramesInput, InputJournal

REJECTS_LISTED: Final = 1000
SOURCES_REMEMBERED: Final = 4096


class SequenceTakenError(SpinfloorError):
    """The journal holds other frames under the same source and sequence: acknowledging these would lose them."""

    code = "sequence-taken"
    http_status = 409


@dataclass(frozen=True, slots=True)
class Ack:
    """The answer to a batch: it is on disk. gap: batches missing before it, by sequence, when there are any."""

    acked: int
    accepted: int
    duplicates: int
    rejected: tuple[RowProblem, ...]
    offset: int
    gap: tuple[int, int] | None = None

    def as_record(self) -> dict[str, object]:
        """The contract's JSON object; a long list of rejects is cut, its length is not."""
        record: dict[str, object] = {
            "acked": self.acked,
            "accepted": self.accepted,
            "duplicates": self.duplicates,
            "rejected": [problem.as_record() for problem in self.rejected[:REJECTS_LISTED]],
        }
        if len(self.rejected) > REJECTS_LISTED:
            record["rejected_total"] = len(self.rejected)
        if self.gap is not None:
            record["gap"] = {"first_missing": self.gap[0], "last_missing": self.gap[1]}
        return record


def rejects_in(answer: Mapping[str, Any]) -> int:
    """How many rows an `Ack` as a record rejects: its list may be cut, the number beside it is not."""
    return int(answer.get("rejected_total", len(answer.get("rejected", ()))))


@dataclass(slots=True)
class _Progress:
    sequence: int
    newest_ns: int | None


class Ingest:
    """Journals batches. What it remembers of a source is for the report only; the journal decides what is new."""

    def __init__(self, journal: InputJournal, clock: Clock) -> None:
        self._journal = journal
        self._clock = clock
        self._progress: OrderedDict[tuple[str, str], _Progress] = OrderedDict()
        self.frames_taken = 0
        self.batches_taken = 0
        self.duplicate_batches = 0
        self.rows_rejected = 0

    async def take(self, sortie: str, batch: Batch) -> Ack:
        """Journal a batch; returns when it is on disk. Raises SequenceTakenError and what `InputJournal.append` raises."""
        received = self._clock.wall_ns()
        entry = FramesInput(batch.source, batch.sequence, received, batch.block, batch.body)
        appended = await self._journal.append(sortie, entry)
        if appended.duplicate:
            await self._check_same(sortie, batch, appended.offset)
            self.duplicate_batches += 1
            return Ack(batch.sequence, 0, batch.rows, (), appended.offset)
        progress = self._progress_of(sortie, batch)
        problems = _with_backwards(batch, progress.newest_ns)
        gap = (progress.sequence + 1, batch.sequence - 1) if batch.sequence > progress.sequence + 1 else None
        progress.sequence = max(progress.sequence, batch.sequence)
        if len(batch.block):
            progress.newest_ns = _newest(batch.block.time_ns, progress.newest_ns)
        accepted = batch.rows - len({problem.row for problem in problems})
        self.batches_taken += 1
        self.frames_taken += len(batch.block)
        self.rows_rejected += batch.rows - accepted
        return Ack(batch.sequence, accepted, 0, problems, appended.offset, gap)

    async def _check_same(self, sortie: str, batch: Batch, offset: int) -> None:
        """A source that began again at 0, or cut its frames anew, is told so."""
        there = await self._journal.read(sortie, after=offset - 1, limit=1)
        if there and there[0].offset == offset and isinstance(there[0].input, FramesInput):
            if _same(there[0].input.block, batch.block):
                return
            raise SequenceTakenError(
                expected=f"the frames of {batch.source!r} that sequence {batch.sequence} had the first time",
                got="other frames under the same number",
                now="these were not taken and the first stay; the sortie's `sources` say which number comes next",
                source=batch.source,
                sequence=batch.sequence,
            )

    def _progress_of(self, sortie: str, batch: Batch) -> _Progress:
        key = (sortie, batch.source)
        progress = self._progress.get(key)
        if progress is not None:
            self._progress.move_to_end(key)
        else:
            # The batch itself is in the journal already; before it this process knows nothing of the source.
            progress = _Progress(batch.sequence - 1, None)
            self._progress[key] = progress
            if len(self._progress) > SOURCES_REMEMBERED:
                self._progress.popitem(last=False)
        return progress


def _same(one: FrameBlock, other: FrameBlock) -> bool:
    return np.array_equal(one.time_ns, other.time_ns) and np.array_equal(one.values, other.values, equal_nan=True)


def _newest(times: npt.NDArray[np.int64], before_ns: int | None) -> int:
    """Of a source; where its clock was set back it counts from there."""
    newest, last = int(times.max()), int(times[-1])
    newest = max(newest, newest if before_ns is None else before_ns)
    return last if newest - last > CLOCK_BACK_NS else newest


def _with_backwards(batch: Batch, newest_ns: int | None) -> tuple[RowProblem, ...]:
    places = backwards(batch.block.time_ns, newest_ns)
    if not places:
        return batch.problems
    left_out = {problem.row for problem in batch.problems if not problem.kept}
    kept_rows = [row for row in range(batch.rows) if row not in left_out]
    named = {problem.row for problem in batch.problems}  # a row is named once
    late = [
        RowProblem(kept_rows[i], "time_ns does not rise above the frame before", kept=True)
        for i in places
        if kept_rows[i] not in named
    ]
    return tuple(sorted((*batch.problems, *late), key=lambda problem: problem.row))
