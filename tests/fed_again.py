"""A journal fed to a fresh detector, entry by entry, without the service's own way of doing it."""

from __future__ import annotations

from collections.abc import Iterable

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event
from spinfloor.detect.building import floors_from
from spinfloor.ports.inputs import FloorsInput, FramesInput, JournalEntry, MarkInput, TickInput


def fed_again(detector: Detector, entries: Iterable[JournalEntry]) -> list[Event]:
    """The events it makes."""
    events: list[Event] = []
    for entry in entries:
        match entry.input:
            case FramesInput(block=block):
                events += detector.feed(block)
            case TickInput(time_ns=time_ns):
                events += detector.tick(time_ns)
            case MarkInput(mark=mark):
                events += detector.mark(mark)
            case FloorsInput(floors=floors, time_ns=time_ns, by=by):
                events += detector.set_floors(floors_from(floors), time_ns, by)
    return events
