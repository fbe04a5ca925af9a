"""From a sortie's event stream to one set of moments per spin: what the per-spin figures are drawn from."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

LEAD_NS = 5_000_000_000
TAIL_NS = 15_000_000_000
LONGEST_TAIL_NS = 90_000_000_000


@dataclass(slots=True)
class SpinMoments:
    """When things happened in one spin, in source time (ns); None where it did not happen."""

    ordinal: int
    started_ns: int
    start_altitude_ft: float | None = None
    kind: dict[str, Any] = field(default_factory=dict)
    turn_marks: list[tuple[int, float, float | None, float | None]] = field(default_factory=list)
    recovery_ns: int | None = None
    recovery_source: str | None = None
    ended_ns: int | None = None
    level_ns: int | None = None
    calls: list[dict[str, Any]] = field(default_factory=list)
    next_start_ns: int | None = None

    @property
    def window_ns(self) -> tuple[int, int]:
        """The stretch worth drawing: a lead before the start to a tail after level flight (or what came last)."""
        last = max(
            self.started_ns, self.level_ns or 0, self.ended_ns or 0, self.turn_marks[-1][0] if self.turn_marks else 0
        )
        until = last + TAIL_NS if self.level_ns is None else self.level_ns + LEAD_NS
        if self.next_start_ns is not None:
            until = min(until, self.next_start_ns)
        return self.started_ns - LEAD_NS, min(until, last + LONGEST_TAIL_NS)


def split(events: Iterable[Mapping[str, Any]]) -> list[SpinMoments]:
    """One SpinMoments per `spin.started`, in the order of the stream."""
    spins: list[SpinMoments] = []
    for event in events:
        if event["kind"] == "spin.started":
            _begin(spins, event)
        elif spins:
            _TAKE.get(event["kind"], _ignore)(spins[-1], event["time_ns"], event["data"], event)
    return spins


def _begin(spins: list[SpinMoments], event: Mapping[str, Any]) -> None:
    data = event["data"]
    if spins:
        spins[-1].next_start_ns = event["time_ns"]
    kind = {name: data.get(name) for name in ("orientation", "direction", "sense_from_above")}
    spins.append(SpinMoments(len(spins) + 1, event["time_ns"], data.get("altitude_ft"), kind))


def _turn(spin: SpinMoments, time_ns: int, data: Mapping[str, Any], _event: Mapping[str, Any]) -> None:
    spin.turn_marks.append((time_ns, float(data["turns"]), data.get("turns_about_vertical"), data.get("altitude_ft")))


def _mode(spin: SpinMoments, _time_ns: int, data: Mapping[str, Any], _event: Mapping[str, Any]) -> None:
    spin.kind["mode"] = data.get("mode")
    spin.kind["oscillatory"] = data.get("oscillatory")


def _recovery(spin: SpinMoments, time_ns: int, data: Mapping[str, Any], _event: Mapping[str, Any]) -> None:
    spin.recovery_ns = time_ns
    spin.recovery_source = data.get("source")


def _ended(spin: SpinMoments, time_ns: int, data: Mapping[str, Any], _event: Mapping[str, Any]) -> None:
    spin.ended_ns = time_ns
    if data.get("turns") is not None:
        spin.turn_marks.append(
            (time_ns, float(data["turns"]), data.get("turns_about_vertical"), data.get("altitude_ft"))
        )


def _level(spin: SpinMoments, time_ns: int, _data: Mapping[str, Any], _event: Mapping[str, Any]) -> None:
    spin.level_ns = time_ns


def _call(spin: SpinMoments, _time_ns: int, _data: Mapping[str, Any], event: Mapping[str, Any]) -> None:
    spin.calls.append(dict(event))


def _ignore(*_unused: object) -> None:
    return None


_TAKE = {
    "spin.turn": _turn,
    "spin.mode": _mode,
    "recovery.started": _recovery,
    "spin.ended": _ended,
    "recovered": _level,
    "call": _call,
}


def turns_at(spin: SpinMoments, time_ns: int, *, about_vertical: bool = False) -> float | None:
    """Turns since the spin's start at a moment, straight between the turn marks; None outside the spin."""
    marks = marked_turns(spin, about_vertical=about_vertical)
    if not marks or time_ns < marks[0][0] or time_ns > marks[-1][0]:
        return None
    place = bisect_right([mark[0] for mark in marks], time_ns)
    if place >= len(marks):
        return marks[-1][1]
    (t0, n0), (t1, n1) = marks[place - 1], marks[place]
    return n1 if t1 <= t0 else n0 + (n1 - n0) * (time_ns - t0) / (t1 - t0)


def marked_turns(spin: SpinMoments, *, about_vertical: bool = False) -> list[tuple[int, float]]:
    """(time_ns, turns) at the start and each turn mark, in time order."""
    marks = [(spin.started_ns, 0.0)]
    for time_ns, flight_path, vertical, _altitude in sorted(spin.turn_marks, key=lambda mark: mark[0]):
        value = vertical if about_vertical else flight_path
        if value is not None and time_ns >= marks[-1][0]:
            marks.append((time_ns, float(value)))
    return marks


def floors_at(events: Iterable[Mapping[str, Any]], planned: Mapping[str, Any], spin: SpinMoments) -> dict[str, Any]:
    """The floors in force when the spin was over: as moved last before, else as planned."""
    over_ns = spin.level_ns or spin.ended_ns or max((mark[0] for mark in spin.turn_marks), default=spin.started_ns)
    floors = dict(planned)
    for event in events:
        if event["kind"] == "mark" and event["data"].get("mark") == "floors" and event["detected_ns"] <= over_ns:
            floors.update(event["data"].get("floors") or {})
    return floors


def phase_spans(events: Iterable[Mapping[str, Any]], from_ns: int, to_ns: int) -> list[tuple[int, int, str]]:
    """(begin, end, phase) covering the window as far as phases are known in it."""
    changes = sorted(
        ((int(event["time_ns"]), str(event["data"].get("to"))) for event in events if event["kind"] == "phase"),
        key=lambda change: change[0],
    )
    spans: list[tuple[int, int, str]] = []
    for place, (begin, phase) in enumerate(changes):
        end = changes[place + 1][0] if place + 1 < len(changes) else to_ns
        first, last = max(begin, from_ns), min(end, to_ns)
        if last > first:
            spans.append((first, last, phase))
    return spans
