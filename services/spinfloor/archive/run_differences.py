"""Two runs of one sortie beside one another: which spins and calls changed and by how much. Pure.

A run names the detector's version and settings, so this shows what a new version or other beliefs would have said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from spinfloor.archive.spin_table import spin_table
from spinfloor.core.events import Event, Kind

NEAR_NS: Final = 3_000_000_000
COMPARED: Final = (
    "orientation", "direction", "mode", "start_ns", "end_ns", "level_ns", "turns", "turns_about_vertical",
    "recovery_turns", "mean_loss_per_turn_ft", "start_altitude_ft", "level_altitude_ft", "margin_ft",
    "predicted_margin_ft", "highest_call",
)  # fmt: skip
NUMBERS_EQUAL: Final = 1e-9


def run_differences(before: Sequence[Event], after: Sequence[Event], plan: Mapping[str, Any]) -> dict[str, Any]:
    """What differs: {"same", "events": [n, n], "spins": [...], "calls": [...]}; spins and calls matched by time."""
    rows = (spin_table(before, plan), spin_table(after, plan))
    spins = list(_spins(*rows))
    calls = sorted(_calls(before, after), key=_when)
    same = not spins and not calls and _told(before) == _told(after)
    return {"same": same, "events": [len(before), len(after)], "spins": spins, "calls": calls}


def _told(events: Sequence[Event]) -> list[tuple[str, int, int, Mapping[str, Any]]]:
    return [(event.kind.value, event.time_ns, event.detected_ns, event.data) for event in events]


def _spins(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    free = list(after)
    for row in before:
        other = min(free, key=lambda r: abs(r["start_ns"] - row["start_ns"]), default=None)
        if other is None or abs(other["start_ns"] - row["start_ns"]) > NEAR_NS:
            yield {"spin": row["spin"], "what": "only in the first run", "before": row["start_ns"], "after": None}
            continue
        free.remove(other)
        for name in COMPARED:
            if not _equal(row[name], other[name]):
                yield {"spin": row["spin"], "what": name, "before": row[name], "after": other[name]}
    for row in free:
        yield {"spin": row["spin"], "what": "only in the second run", "before": None, "after": row["start_ns"]}


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= NUMBERS_EQUAL
    return bool(one == other)


def _calls(before: Sequence[Event], after: Sequence[Event]) -> Iterator[dict[str, Any]]:
    """Calls of the same words are matched nearest first, so that it is the same whichever run comes first."""
    ours, theirs = ([e for e in events if e.kind is Kind.CALL] for events in (before, after))
    near = sorted(
        (abs(one.detected_ns - other.detected_ns), one.detected_ns + other.detected_ns, i, j)
        for i, one in enumerate(ours)
        for j, other in enumerate(theirs)
        if _same_words(one, other) and abs(one.detected_ns - other.detected_ns) <= NEAR_NS
    )
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for _, _, i, j in near:
        if i not in pairs and j not in taken:
            pairs[i] = j
            taken.add(j)
    for i, event in enumerate(ours):
        other_ns = theirs[pairs[i]].detected_ns if i in pairs else None
        if other_ns != event.detected_ns:
            yield _call(event, event.detected_ns, other_ns)
    for j, event in enumerate(theirs):
        if j not in taken:
            yield _call(event, None, event.detected_ns)


def _same_words(one: Event, other: Event) -> bool:
    return (one.data["call"], one.data["words"]) == (other.data["call"], other.data["words"])


def _when(call: Mapping[str, Any]) -> int:
    return min(int(ns) for ns in (call["before_ns"], call["after_ns"]) if ns is not None)


def _call(event: Event, before: int | None, after: int | None) -> dict[str, Any]:
    return {"call": event.data["call"], "words": event.data["words"], "before_ns": before, "after_ns": after}
