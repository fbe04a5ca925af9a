"""Saved detectors."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A detector after the input at `offset`.

    Its next event will be `next_sequence`. `data` is `Detector.save()`. `memo` is the shell's own small JSON (what it
    needs to go on ticking: the newest frame's source time and the wall clock at its arrival).
    """

    sortie: str
    run: str
    offset: int
    next_sequence: int
    data: bytes
    memo: bytes = b"{}"


class CheckpointStore(Protocol):
    """Keeps at least the newest checkpoint of each (sortie, run).

    Durability: `save` returns when it is on disk. A checkpoint is saved only after the events before it are journalled,
    so after any crash the events from `next_sequence` on are either there already or made again, the same.
    """

    async def save(self, checkpoint: Checkpoint, *, fence: int) -> None:
        """Store; one with a lower offset than the newest is ignored. Raises LeaseLostError, StorageError."""
        ...

    async def newest(self, sortie: str, run: str | None = None) -> Checkpoint | None:
        """The one with the highest offset (of that run, when given)."""
        ...
