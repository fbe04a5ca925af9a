"""The events of an archive beside those that the detector here makes from its inputs. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import orjson

from spinfloor.archive.bench import Made
from spinfloor.core.events import Event


@dataclass(frozen=True, slots=True)
class Comparison:
    """outcome: same | no run (the archive holds none) | other detector (another version or other settings by its run's
    name) | different."""

    outcome: str
    words: str
    archived: int
    made: int
    first_difference: int | None

    @property
    def ours(self) -> bool:
        """The run made here is the one to keep in force."""
        return self.outcome in ("same", "no run")

    def as_record(self) -> dict[str, Any]:
        """Plain fields."""
        return {
            "reproduced": self.outcome, "words": self.words, "events_archived": self.archived,
            "events_made": self.made, "first_difference": self.first_difference,
        }  # fmt: skip


def compare(archived: Sequence[Event], made: Made, *, complete: bool, run: str | None) -> Comparison:
    """Of an archive written while the sortie was being flown, the events must be the first of those made here."""
    if run is None:
        words = f"the archive holds no run; the detector here made {len(made.events)} events"
        return Comparison("no run", words, len(archived), len(made.events), None)
    first = _first_difference(archived, made.events, complete=complete)
    counts = (len(archived), len(made.events))
    if first is None and run == made.run:
        more = f", and {counts[1] - counts[0]} more that followed from its last inputs" if counts[0] < counts[1] else ""
        return Comparison("same", f"the detector here made the same {counts[0]} events again{more}", *counts, None)
    if run != made.run:
        told = "the same events" if first is None else f"other events from number {first} on"
        words = f"the run {run} was flown with another detector or other settings than {made.run}, which makes {told}"
        return Comparison("other detector", words, *counts, first)
    return Comparison("different", f"other events from number {first} on under the same run name", *counts, first)


def _first_difference(archived: Sequence[Event], made: Sequence[Event], *, complete: bool) -> int | None:
    for place, (one, other) in enumerate(zip(archived, made, strict=False)):
        if _plain(one) != _plain(other):
            return place
    if len(archived) == len(made) or (len(archived) < len(made) and not complete):
        return None
    return min(len(archived), len(made))


def _plain(event: Event) -> Any:
    """As JSON tells it, without the names of sortie and run: NaN is null, whole floats stay floats."""
    return orjson.loads(
        orjson.dumps([event.sequence, event.kind.value, event.time_ns, event.detected_ns, dict(event.data)])
    )
