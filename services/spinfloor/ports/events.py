"""The event journal: what the detector said, each event once."""

from collections.abc import Collection, Sequence
from typing import Final, Protocol

from spinfloor.core.events import Event
from spinfloor.ports.errors import EventDivergedError, EventHoleError

RERUN_PREFIX: Final = "rerun-"  # begins the name of every run made aside from the flight


def event_diverged(sequence: int) -> EventDivergedError:
    """For adapters: the error for another event under the identity of one that is journalled."""
    return EventDivergedError(
        expected=f"event {sequence} to be the one in the journal",
        got="another one under the same identity",
        now="nothing was written; the journal's event stands",
        sequence=sequence,
    )


def check_following(sequences: Sequence[int], following: int) -> None:
    """For adapters: raises EventHoleError unless these go on from `following` without a hole."""
    for place, sequence in enumerate(sequences, start=following):
        if sequence != place:
            raise EventHoleError(
                expected=f"event {place} next", got=f"event {sequence}", now="nothing was written", sequence=sequence
            )


class EventJournal(Protocol):
    """Events by (sortie, run, sequence).

    Durability: `append` returns when the events are on disk. Order: by sequence, from 0, no hole. Duplicates: an event
    offered again is compared and skipped; another event under the same identity raises EventDivergedError.
    Fencing: the highest `fence` seen for a sortie wins; a lower one raises LeaseLostError and writes nothing.
    """

    async def append(self, events: Sequence[Event], *, fence: int) -> int:
        """Journal events of one sortie and run, ascending without a hole among themselves; returns how many were new.

        Raises EventHoleError, EventDivergedError, LeaseLostError, StorageError.
        """
        ...

    async def read(
        self,
        sortie: str,
        *,
        run: str | None = None,
        after: int = -1,
        kinds: Collection[str] | None = None,
        limit: int = 1000,
    ) -> list[Event]:
        """Up to `limit` events with sequence > after of a run (None: the current one), by sequence."""
        ...

    async def next_sequence(self, sortie: str, run: str) -> int:
        """The sequence the next event of the run will have."""
        ...

    async def current_run(self, sortie: str) -> str | None:
        """The run that last wrote its first event (or was opened), None before any; never a rerun."""
        ...

    async def open_run(self, sortie: str, run: str, *, fence: int) -> None:
        """Make `run` the current one, even before its first event. Raises LeaseLostError."""
        ...

    async def add_rerun(self, sortie: str, run: str, events: Sequence[Event]) -> int:
        """Store the whole of a run made aside from the flight, all of it or nothing; returns how many were new.

        run begins with RERUN_PREFIX. It needs no fence, because nobody owns it, and never becomes the current run, so
        that whoever watches the sortie hears nothing of it. The same run again changes nothing; other events under
        its name raise EventDivergedError. Raises UnknownSortieError, StorageError.
        """
        ...

    async def runs(self, sortie: str) -> list[str]:
        """All runs of a sortie, oldest first; reruns behind the runs of the flight."""
        ...
