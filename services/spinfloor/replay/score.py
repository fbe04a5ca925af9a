"""The score sheet of a rehearsal: each call, when due, when made by the tool and by a person, the margin then.

Due is what the same detector says on the undisturbed recording with the same plan, beliefs and crew response, so that a
rehearsal with lost data or a clipped gyro is measured against the one without. The margin is the altitude left of that
undisturbed run. Pure: records and frames in, plain rows out. The windows are our own; outside them nothing matches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs

STEP_S: Final = 0.1
IN_TIME_S: Final = 1.0
EARLIEST_S: Final = 10.0
LATEST_S: Final = 20.0
TURN_WINDOW_S: Final = 2.5
ORDER: Final = ("abandon", "chute", "recover", "caution", "status", "turn")


@dataclass(frozen=True, slots=True)
class Track:
    """Altitude left through the undisturbed run: time (ns), median and cautious bound (ft, NaN where not known)."""

    time_ns: npt.NDArray[np.int64]
    median_ft: npt.NDArray[np.float64]
    bound_ft: npt.NDArray[np.float64]

    def at(self, time_ns: int | None) -> dict[str, float | None] | None:
        """The newest sample no later than a moment, None before the first or without a moment."""
        if time_ns is None:
            return None
        place = int(np.searchsorted(self.time_ns, time_ns, side="right")) - 1
        if place < 0:
            return None
        median, bound = float(self.median_ft[place]), float(self.bound_ft[place])
        return {"median_ft": None if median != median else median, "bound_ft": None if bound != bound else bound}


@dataclass(slots=True)
class Line:
    """One call of the sheet. Times in ns of the source; lateness in seconds after due (negative: early)."""

    call: str
    words: str
    reason: str
    spin: int
    due_ns: int | None
    tool_ns: int | None = None
    person_ns: int | None = None
    person_by: str | None = None
    margin_due: Mapping[str, float | None] | None = None
    margin_tool: Mapping[str, float | None] | None = None
    margin_person: Mapping[str, float | None] | None = None
    tool_late_s: float | None = None
    person_late_s: float | None = None
    tool_says: str = ""
    person_says: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """All lines in time order, and counts by verdict."""

    lines: tuple[Line, ...]
    counts: Mapping[str, Mapping[str, int]] = field(default_factory=dict)

    def as_record(self) -> dict[str, Any]:
        """Plain JSON."""
        return {"lines": [asdict(line) for line in self.lines], "counts": dict(self.counts), "in_time_s": IN_TIME_S}


def undisturbed(plan: Plan, beliefs: Beliefs | None, block: FrameBlock, sortie: str) -> tuple[list[Event], Track]:
    """The recording through a fresh detector in steps of STEP_S: its events and the altitude left after each step."""
    detector = Detector(sortie=sortie, plan=plan, beliefs=beliefs)
    edges = np.arange(int(block.time_ns[0]), int(block.time_ns[-1]) + 1, int(STEP_S * 1e9), dtype=np.int64)
    cuts = np.unique(np.append(np.searchsorted(block.time_ns, edges, side="right"), len(block)))
    events: list[Event] = []
    times: list[int] = []
    left: list[tuple[float, float]] = []
    begin = 0
    for end in cuts.tolist():
        events += detector.feed(block.slice(begin, end))
        begin = end
        shown: Any = detector.snapshot()["altitude_left_ft"]
        times.append(detector.time_ns)
        left.append(tuple(np.nan if shown[name] is None else float(shown[name]) for name in ("median", "bound")))  # type: ignore[arg-type]  # two names, two numbers
    values = np.asarray(left, np.float64).reshape(-1, 2)
    return events, Track(np.asarray(times, np.int64), values[:, 0], values[:, 1])


def score(due: Sequence[Event], made: Sequence[Event], track: Track, *, disturbed: bool = False) -> Sheet:
    """Match what was due with what the tool called and what people marked as called.

    due: events of the undisturbed run. made: events of the rehearsal, marks among them. disturbed: faults were put in; a call
    about the data is then no call that was not due.
    """
    lines = [_due_line(event, spin) for event, spin in _first_calls(due)]
    _match_tool(lines, made)
    _match_people(lines, made)
    for line in lines:
        _weigh(line, track)
        if disturbed and line.tool_says == NOT_DUE and line.reason in DATA_REASONS:
            line.tool_says = FOR_THE_FAULT
    lines.sort(key=_when)
    counts = {
        who: {says: sum(1 for line in lines if getattr(line, f"{who}_says") == says) for says in SAYS}
        for who in ("tool", "person")
    }
    return Sheet(tuple(lines), counts)


NOT_DUE: Final = "not due"
FOR_THE_FAULT: Final = "for the fault"
DATA_REASONS: Final = ("data lost", "data degraded")
SAYS: Final = ("in time", "late", "early", "missed", NOT_DUE, FOR_THE_FAULT, "not called")


def _first_calls(events: Sequence[Event]) -> list[tuple[Event, int]]:
    """Calls that are no repetition, each with the spin it belongs to (0: before the first)."""
    out: list[tuple[Event, int]] = []
    spin = 0
    for event in sorted(events, key=lambda e: (e.detected_ns, e.sequence)):
        if event.kind is Kind.SPIN_STARTED:
            spin += 1
        elif event.kind is Kind.CALL and not event.data.get("repeat") and event.data.get("call") != "status":
            out.append((event, spin))
    return out


def _due_line(event: Event, spin: int) -> Line:
    data = event.data
    return Line(str(data["call"]), str(data["words"]), str(data.get("reason") or ""), spin, event.detected_ns)


def _match_tool(lines: list[Line], made: Sequence[Event]) -> None:
    for event, spin in _first_calls(made):
        line = _nearest(lines, "tool_ns", str(event.data["call"]), event.detected_ns, str(event.data["words"]))
        if line is None:
            line = _due_line(event, spin)
            line.due_ns = None
            lines.append(line)
        line.tool_ns = event.detected_ns


def _match_people(lines: list[Line], made: Sequence[Event]) -> None:
    for event in made:
        if event.kind is not Kind.MARK or event.data.get("mark") != "call_made":
            continue
        call = str(event.data.get("call", "call"))
        by = str(event.data.get("by", ""))
        line = _nearest(lines, "person_ns", call, event.time_ns, None)
        if line is None:
            line = Line(call, str(event.data.get("words", call)), "called by a person", 0, None)
            lines.append(line)
        line.person_ns, line.person_by = event.time_ns, by


def _nearest(lines: Sequence[Line], slot: str, call: str, time_ns: int, words: str | None) -> Line | None:
    """The free line of this call closest in time, inside the windows; turns and cautions also by their words."""
    best: Line | None = None
    best_s = float("inf")
    for line in lines:
        at = line.due_ns if line.due_ns is not None else line.tool_ns
        if line.call != call or getattr(line, slot) is not None or at is None:
            continue
        if words is not None and call in ("turn", "caution") and line.words != words:
            continue
        away = (time_ns - at) * 1e-9
        early, late = (TURN_WINDOW_S, TURN_WINDOW_S) if call == "turn" else (EARLIEST_S, LATEST_S)
        if -early <= away <= late and abs(away) < best_s:
            best, best_s = line, abs(away)
    return best


def _weigh(line: Line, track: Track) -> None:
    line.margin_due, line.margin_tool, line.margin_person = (
        track.at(line.due_ns), track.at(line.tool_ns), track.at(line.person_ns)
    )  # fmt: skip
    line.tool_late_s, line.person_late_s = _late(line.tool_ns, line.due_ns), _late(line.person_ns, line.due_ns)
    line.tool_says = _says(line.tool_ns, line.due_ns, line.tool_late_s, "missed")
    line.person_says = _says(line.person_ns, line.due_ns, line.person_late_s, "not called")


def _late(made_ns: int | None, due_ns: int | None) -> float | None:
    return None if made_ns is None or due_ns is None else (made_ns - due_ns) * 1e-9


def _says(made_ns: int | None, due_ns: int | None, late_s: float | None, without: str) -> str:
    if made_ns is None:
        return without if due_ns is not None else "not called"
    if late_s is None:
        return NOT_DUE
    return "late" if late_s > IN_TIME_S else "early" if late_s < -IN_TIME_S else "in time"


def _when(line: Line) -> tuple[int, int]:
    times = [t for t in (line.due_ns, line.tool_ns, line.person_ns) if t is not None]
    return (min(times), ORDER.index(line.call) if line.call in ORDER else len(ORDER))
