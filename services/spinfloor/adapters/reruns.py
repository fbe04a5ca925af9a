"""What every event journal checks of a run made aside from the flight."""

from __future__ import annotations

from collections.abc import Sequence

from spinfloor.core.events import Event
from spinfloor.ports.errors import EventHoleError
from spinfloor.ports.events import RERUN_PREFIX


def check_rerun(run: str, events: Sequence[Event]) -> None:
    """Raises ValueError for a run that is not named as a rerun, EventHoleError for events not in sequence from 0."""
    if not run.startswith(RERUN_PREFIX):
        raise ValueError(f"{run!r} is not the name of a rerun")
    for place, event in enumerate(events):
        if (event.run, event.sequence) != (run, place):
            raise EventHoleError(
                expected=f"event {place} of {run}",
                got=f"event {event.sequence} of {event.run}",
                now="nothing was written",
                sequence=event.sequence,
            )
