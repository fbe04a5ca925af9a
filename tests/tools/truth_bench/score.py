"""One run scored: the detector's events against the truth of the flight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from tests.truth.degrade import Record
from tests.truth.flight import START_NS, Flight

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan

SLACK_S = 1.0  # a detection this close to a stretch nobody can call is not held against the detector
NORMAL_95 = 1.959964
CONTROLS_S = 0.5  # the recovery controls are seen when they are told within this of their first movement


def plan_for(flight: Flight, record: Record) -> Plan:
    """What a test team would write: rails and altimeter lag as fitted, stall to the nearest degree, low floors."""
    aircraft: dict[str, Any] = {
        "name": "truth flight",
        "altimeter_lag_s": record.altimeter_lag_s,
        "sensor_ranges": {"yaw_rate_dps": record.yaw_range_dps, "roll_rate_dps": record.roll_range_dps},
    }
    if flight.source != "shared":
        aircraft["stall_alpha_upright_deg"] = float(round(flight.stall_deg[0]))
        aircraft["stall_alpha_inverted_deg"] = float(round(flight.stall_deg[1]))
    return Plan.model_validate(
        {
            "title": flight.name,
            "aircraft": aircraft,
            "floors": {"recovery_ft": 3000.0, "abandon_ft": 1500.0},
            "cards": [{"id": "T1", "direction": "right", "turns": 50.0, "entry_altitude_ft": 10000.0}],
        }
    )


@dataclass
class Found:
    """One spin as the detector told it; times in the flight's own seconds."""

    start_s: float
    known_s: float
    data: dict[str, Any]
    end_s: float | None = None
    end_data: dict[str, Any] | None = None
    turn_checks: list[tuple[float, dict[str, Any]]] = field(default_factory=list)
    controls_s: float | None = None


@dataclass
class Score:
    """What one run gave. Lists hold one value per matched spin."""

    flight: str
    source: str
    situation: str
    seed: int
    five: bool
    degradation: str
    true_spins: int = 0
    missed: int = 0
    false: int = 0
    split: int = 0
    wrong_way: int = 0
    wrong_side: int = 0
    unended: int = 0
    delay_s: list[float] = field(default_factory=list)
    turn_error: list[float] = field(default_factory=list)
    stop_error_s: list[float] = field(default_factory=list)
    start_error_s: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    altitude_covered: list[bool] = field(default_factory=list)
    controls_seen: list[bool] = field(default_factory=list)  # only where the controls are telemetered
    modes: list[str] = field(default_factory=list)
    turn_error_of: list[tuple[str, float]] = field(default_factory=list)  # with the true mode
    covered_of: list[tuple[str, bool]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def _true_seconds(time_ns: int, record: Record) -> float:
    t = (time_ns - START_NS) * 1e-9
    for at, by in record.jumps:
        if t >= at + 0.5 * by:  # an event dated back over the jump is told in the new clock too
            t -= by
    return t


def spins_told(events: Sequence[Event], record: Record) -> list[Found]:
    """Pair each spin.started with its spin.ended."""
    out: list[Found] = []
    for event in events:
        data = dict(event.data)
        t = _true_seconds(event.time_ns, record)
        if event.kind is Kind.SPIN_STARTED:
            out.append(Found(t, _true_seconds(event.detected_ns, record), data))
        elif out and out[-1].end_s is None:
            if event.kind is Kind.SPIN_ENDED:
                out[-1].end_s, out[-1].end_data = t, data
            elif event.kind is Kind.SPIN_TURN:
                out[-1].turn_checks.append((t, data))
            elif event.kind is Kind.RECOVERY_STARTED and out[-1].controls_s is None:
                out[-1].controls_s = t
    return out


def run(flight: Flight, record: Record) -> list[Event]:
    """The product's detector over the whole record at once."""
    detector = Detector(sortie="truth", plan=plan_for(flight, record))
    return detector.feed(FrameBlock.from_columns({"time_ns": record.time_ns, **record.columns}))


def _overlaps(found: Found, a: float, b: float) -> bool:
    return found.start_s <= b and (found.end_s is None or found.end_s >= a)


def _turns_at(flight: Flight, t: float) -> float:
    return float(np.interp(t, flight.time_s, flight.turns_about_flight_path))


def _mode(alpha: float) -> str:
    a = abs(alpha)
    return "steep" if a < 30 else "moderately steep" if a < 45 else "moderately flat" if a < 65 else "flat"


def score(flight: Flight, record: Record, events: Sequence[Event], five: bool, degradation: str) -> Score:
    """Match detections to true spins in time and measure each."""
    out = Score(flight.name, flight.source, flight.situation, flight.seed, five, degradation)
    told = spins_told(events, record)
    used: set[int] = set()
    last = float(flight.time_s[-1])
    truths = flight.truth["spins"]
    out.true_spins = len(truths)
    for s in truths:
        a, b = s["start_s"], s["spin_end_s"] if s["spin_end_s"] is not None else last
        hits = [i for i, f in enumerate(told) if i not in used and _overlaps(f, a, b)]
        if not hits:
            out.missed += 1
            out.remarks.append(f"missed {s['orientation']} {s['direction']} {a:.2f}-{b:.2f} s")
            continue
        best = max(hits, key=lambda i: min(told[i].end_s or last, b) - max(told[i].start_s, a))
        used.add(best)
        _measure(out, flight, s, told[best])
        if "pedal_right_pct" in record.columns and s["recovery_controls_s"] is not None:
            seen = told[best].controls_s
            out.controls_seen.append(seen is not None and abs(seen - s["recovery_controls_s"]) <= CONTROLS_S)
    _leftovers(out, flight, told, used, last)
    return out


def _leftovers(out: Score, flight: Flight, told: list[Found], used: set[int], last: float) -> None:
    truths = [(s["start_s"], s["spin_end_s"] or last) for s in flight.truth["spins"]]
    doubtful = [(a - SLACK_S, b + SLACK_S) for a, b in flight.truth.get("borderline", [])]
    for i, f in enumerate(told):
        if i in used:
            continue
        when = f"{f.start_s:.2f}-{f.end_s if f.end_s is None else round(f.end_s, 2)} s"
        if any(_overlaps(f, a, b) for a, b in truths):
            out.split += 1
            out.remarks.append(f"second detection of one spin {when}")
        elif not any(_overlaps(f, a, b) for a, b in doubtful):
            out.false += 1
            out.remarks.append(f"false {f.data['orientation']} {f.data['direction']} {when}")


def _measure(out: Score, flight: Flight, s: dict[str, Any], f: Found) -> None:
    mode = "inverted" if s["orientation"] == "inverted" else _mode(s["settled"]["alpha"][1])
    out.modes.append(mode)
    out.delay_s.append(f.known_s - s["start_s"])
    out.start_error_s.append(f.start_s - s["start_s"])
    if f.data["direction"] != s["direction"]:
        out.wrong_way += 1
        out.remarks.append(f"direction {f.data['direction']}, truth {s['direction']} at {s['start_s']:.2f} s")
    if f.data["orientation"] != s["orientation"]:
        out.wrong_side += 1
        out.remarks.append(f"orientation {f.data['orientation']}, truth {s['orientation']} at {s['start_s']:.2f} s")
    zero = _turns_at(flight, s["start_s"])
    for t, data in f.turn_checks:
        _cover(out, mode, _inside(data, abs(_turns_at(flight, t) - zero)))
    if s["spin_end_s"] is None:
        if f.end_s is not None:
            out.remarks.append(f"ended at {f.end_s:.2f} s, truth: spins to the end")
            out.unended += 1
        return
    if f.end_s is None or f.end_data is None:
        out.unended += 1
        out.remarks.append(f"never ended, truth {s['spin_end_s']:.2f} s")
        return
    _measure_end(out, flight, s, f, f.end_data, mode)


def _cover(out: Score, mode: str, held: bool) -> None:
    out.covered.append(held)
    out.covered_of.append((mode, held))


def _measure_end(out: Score, flight: Flight, s: dict[str, Any], f: Found, end: dict[str, Any], mode: str) -> None:
    true_turns = s["turns"]["start_to_spinend"]["about_flight_path"]
    error = end["turns"] - true_turns
    if not end.get("turns_lower_bound"):
        out.turn_error.append(error)
        out.turn_error_of.append((mode, error))
    stop = float(f.end_s or 0.0) - s["spin_end_s"]
    out.stop_error_s.append(stop)
    _cover(out, mode, _inside(end, true_turns))
    height = float(np.interp(s["spin_end_s"], flight.time_s, flight.columns["pressure_altitude_ft"]))
    if end.get("altitude_sd_ft") is not None:
        out.altitude_covered.append(abs(end["altitude_ft"] - height) <= NORMAL_95 * end["altitude_sd_ft"])
    limit = 0.35 if out.five else 0.10
    if abs(error) > limit or abs(stop) > 0.3:
        out.remarks.append(
            f"turns {end['turns']:.2f}/{true_turns:.2f} ({error:+.2f}), "
            f"start {f.start_s - s['start_s']:+.2f} s, end {stop:+.2f} s (truth {s['start_s']:.2f}-{s['spin_end_s']:.2f})"
        )


def _inside(data: dict[str, Any], truth: float) -> bool:
    sd = data.get("turns_sd")
    if sd is None:
        return False
    if data.get("turns_lower_bound"):
        return bool(truth >= data["turns"] - NORMAL_95 * sd)
    return bool(abs(data["turns"] - truth) <= NORMAL_95 * sd)
