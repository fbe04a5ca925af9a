"""What persons did and said, for the report: marks and calls in flight, floors moved, notes after it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from spinfloor.archive.report_blocks import Block, Paragraph, Table
from spinfloor.archive.report_words import num, stamp

Record = Mapping[str, Any]
FLOORS: Final = (("recovery", "recovery_ft"), ("chute", "chute_ft"), ("abandon", "abandon_ft"))


def marks_blocks(events: Sequence[Record], notes: Sequence[Record]) -> Iterator[Block]:
    """The marks of the run, then the notes."""
    rows = tuple(
        (stamp(event["time_ns"], millis=True), str(event["data"].get("by") or ""), *_said(event["data"]))
        for event in events
        if event["kind"] == "mark"
    )
    if rows:
        yield Table(("Time", "By", "Mark", "What"), rows)
    else:
        yield Paragraph("No mark was made.")
    if notes:
        body = tuple(
            (stamp(note["at_ns"]), str(note["by"]), f"spin {note['spin']}" if note["spin"] else "sortie", note["text"])
            for note in notes
        )
        yield Table(("Noted", "By", "About", "Note"), body, caption="Notes after the flight.")


def _said(data: Record) -> tuple[str, str]:
    mark = str(data.get("mark") or "mark")
    if mark == "floors":
        return "floors moved", floors_words(data.get("floors") or {})
    details = (data.get(name) for name in ("call", "card", "text"))
    return mark.replace("_", " "), ", ".join(str(value) for value in details if value)


def floors_words(floors: Record) -> str:
    """ "recovery 5,500 ft, abandon 4,000 ft" of those that are set."""
    return ", ".join(f"{name} {num(floors[key])} ft" for name, key in FLOORS if floors.get(key) is not None)


def floors_at(events: Sequence[Record], planned: Record, time_ns: int) -> Record:
    """The floors in force at a moment of the source: as moved last before it, else as planned."""
    moved = [
        event["data"].get("floors") or {}
        for event in events
        if event["kind"] == "mark" and event["data"].get("mark") == "floors" and event["detected_ns"] <= time_ns
    ]
    return {**planned, **moved[-1]} if moved else planned
