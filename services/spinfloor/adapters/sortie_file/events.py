"""The events of an archive: read line by line, and checked to be what a detector could have said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import orjson

from spinfloor.adapters.exports.events import NUMBER_FIELDS, TEXT_FIELDS, YES_NO_FIELDS
from spinfloor.adapters.sortie_file import layout
from spinfloor.adapters.sortie_file.layout import damaged
from spinfloor.core.events import CALLS, Event, Kind
from spinfloor.core.recovery.beliefs import Evidence
from spinfloor.ports.events import RERUN_PREFIX


def text_lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """The lines of a part, counted from 1."""
    with path.open("rb") as file:
        yield from enumerate(file, start=1)


def record_of(number: int, text: bytes, name: str) -> dict[str, Any]:
    """A line as a JSON object. Raises ArchiveError."""
    try:
        record = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise damaged(f"line {number} of {name} is no JSON") from error
    if not isinstance(record, dict):
        raise damaged(f"line {number} of {name} is no JSON object")
    return record


def read_events(path: Path) -> Iterator[Event]:
    """The events of a part, each of them one that the detector could have said. Raises ArchiveError."""
    for number, text in text_lines(path):
        record = record_of(number, text, path.name)
        try:
            event = Event(
                record["sortie"], record["run"], record["sequence"], Kind(record["kind"]), record["time_ns"],
                record["detected_ns"], record["data"],
            )  # fmt: skip
        except (KeyError, ValueError, TypeError) as error:
            raise damaged(f"line {number} of {path.name} is no event") from error
        if not _plausible(event):
            raise damaged(f"line {number} of {path.name} is no event")
        yield event


def _plausible(event: Event) -> bool:
    whole = (event.sequence, event.time_ns, event.detected_ns)
    numbers = all(isinstance(n, int) and not isinstance(n, bool) and -(2**63) <= n < 2**63 for n in whole)
    return numbers and isinstance(event.run, str) and isinstance(event.data, dict) and _data_plausible(event)


def _data_plausible(event: Event) -> bool:
    """Fields that others count with are of their kind or null; what stands in a mark is whatever its sender liked."""
    data = event.data
    if event.kind is Kind.MARK:
        return True
    if event.kind is Kind.CALL and not (data.get("call") in CALLS and isinstance(data.get("words"), str)):
        return False
    if event.kind is Kind.RECOVERED and not _can_be_learnt_from(event):
        return False
    kinds: list[tuple[Sequence[str], type | tuple[type, ...]]] = [
        (TEXT_FIELDS, str),
        (YES_NO_FIELDS, bool),
        (NUMBER_FIELDS, (int, float)),
        (("surprises",), list),
    ]
    return all(
        isinstance(data.get(name), kind) for names, kind in kinds for name in names if data.get(name) is not None
    )


def _can_be_learnt_from(event: Event) -> bool:
    try:
        evidence = Evidence.of_event(event.as_record(), spin=1)
        return evidence is None or all(isinstance(v, int | float | None) for v in evidence.values.values())
    except (KeyError, TypeError):
        return False


def check_run(events: list[Event], run: str | None, count: int) -> None:
    """The flown run's events are the manifest's. Raises ArchiveError."""
    if run is not None and run.startswith(RERUN_PREFIX):
        raise damaged("the flown run is named as a rerun")
    if len(events) != count:
        raise damaged(f"{layout.EVENTS} has {len(events)} events where the manifest has {count}")
    for place, event in enumerate(events):
        if (event.run, event.sequence) != (run, place):
            raise damaged(f"event {place} of {layout.EVENTS} is of another run or out of sequence")


def check_reruns(events: list[Event], names: list[str]) -> None:
    """Every rerun is named in the manifest and whole. Raises ArchiveError."""
    following: dict[str, int] = {}
    for event in events:
        place = following.get(event.run, 0)
        if event.run not in names or not event.run.startswith(RERUN_PREFIX) or event.sequence != place:
            raise damaged(f"{layout.RERUNS} holds runs that the manifest does not name, or events out of sequence")
        following[event.run] = place + 1
