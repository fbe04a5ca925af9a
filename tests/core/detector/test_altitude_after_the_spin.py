"""An altitude that fails alone around the end of a spin, or in the dive after it: missing, or standing bit for bit."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flight, of_kind, plan, plan_of
from tests.truth.degrade import pristine, required_five

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHTS = [("developed", 8), ("developed", 10), ("inverted", 3), ("power on", 1), ("flat", 2)]
WAYS = pytest.mark.parametrize("how", ["missing", "stands"])
WHEN = pytest.mark.parametrize("after_s", [-2.0, 1.0, 3.0])
WHICH = pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
NORMAL_95 = 1.959964
Told = tuple[tuple[tuple[float, dict[str, object]], ...], tuple[Event, ...]]


@cache
def told(situation: str, seed: int, how: str, after_s: float, five: bool = False) -> Told:
    """(seconds since the failure, snapshot) once a second, and the events; the altitude fails `after_s` after the spin's end."""
    f = flight(situation, seed)
    record = pristine(f, 50.0)
    height = record.columns["pressure_altitude_ft"].copy()
    fails_s = f.truth["spins"][0]["spin_end_s"] + after_s
    first = int(np.searchsorted(record.seconds, fails_s))
    height[first:] = np.nan if how == "missing" else height[first]
    record.columns["pressure_altitude_ft"] = height
    block = block_of(required_five(record) if five else record)
    detector = Detector(sortie="t", plan=plan_of(f))
    events, seen = [], []
    for i in range(0, len(block.time_ns), 50):
        events += detector.feed(FrameBlock(block.time_ns[i : i + 50], block.values[i : i + 50]))
        seconds = float(record.seconds[min(i + 50, len(block.time_ns)) - 1])
        if seconds > fails_s + 0.5:
            seen.append((seconds - fails_s, dict[str, object](detector.snapshot())))
    return tuple(seen), tuple(events)


def number(value: object) -> float:
    assert isinstance(value, int | float)
    return float(value)


@WAYS
@WHEN
@WHICH
def test_it_is_never_taken_for_level_flight(situation: str, seed: int, how: str, after_s: float) -> None:
    seen, events = told(situation, seed, how, after_s)
    assert not of_kind(list(events), Kind.RECOVERED)
    assert not [e for e in of_kind(list(events), Kind.CALL) if e.data["reason_code"] == "recovered"]
    assert all(s["estimated"] for seconds, s in seen if seconds > 2.5)


@WAYS
@WHEN
@WHICH
def test_it_is_carried_down_as_a_pull_out_goes(situation: str, seed: int, how: str, after_s: float) -> None:
    f = flight(situation, seed)
    seen, _ = told(situation, seed, how, after_s)
    fails_s = f.truth["spins"][0]["spin_end_s"] + after_s
    for seconds, s in seen:
        true_ft = float(np.interp(fails_s + seconds, f.time_s, f.columns["pressure_altitude_ft"]))
        error = number(s["altitude_ft"]) - true_ft
        assert abs(error) < 2.6 * number(s["altitude_sd_ft"])  # 99 %
        assert abs(error) < 250.0 + 90.0 * seconds


@pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
@WHICH
def test_the_dive_is_over_when_it_flies_straight(situation: str, seed: int, five: bool) -> None:
    seen, _ = told(situation, seed, "missing", 1.0, five)
    straight_s = _steady_since_s(situation, seed)
    assert [s["phase"] for seconds, s in seen if seconds < 5.0][-1] == "dive"
    if seen[-1][0] > straight_s + 4.0:
        assert seen[-1][1]["phase"] == "flight"


def _steady_since_s(situation: str, seed: int) -> float:
    """Seconds after the spin's end from which on the rates stay below 2.5 deg/s; inf when they do not."""
    f = flight(situation, seed)
    rates = [f.columns[n] for n in ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps")]
    moving = np.flatnonzero(np.sqrt(sum(r * r for r in rates)) > 2.5)
    last = int(moving[-1]) + 1
    return math.inf if last >= len(f.time_s) else float(f.time_s[last] - f.truth["spins"][0]["spin_end_s"])


def test_nothing_is_carried_below_the_ground() -> None:
    """A minute of silence in a spin: the last frame's height, less a minute of sink, would be under it."""
    f = flight("developed", 8)
    record = pristine(f, 50.0)
    spin = f.truth["spins"][0]
    record = record.keep(record.seconds < spin["start_s"] + 6.0)
    raised = plan(stall_alpha_upright_deg=f.stall_deg[0], stall_alpha_inverted_deg=f.stall_deg[1])
    detector = Detector(sortie="t", plan=raised)
    detector.feed(block_of(record))
    last_ns = int(record.time_ns[-1])
    for second in range(1, 120):
        detector.tick(last_ns + second * 1_000_000_000)
    assert detector.snapshot()["altitude_ft"] == pytest.approx(raised.floors.ground_elevation_ft, abs=1.0)


def test_what_stuck_in_the_spin_is_used_again_once_it_moves() -> None:
    f = flight("developed", 8)
    record = pristine(f, 50.0)
    spin = f.truth["spins"][0]
    true = record.columns["pressure_altitude_ft"]
    stands = (record.seconds > spin["spin_end_s"] - 3.0) & (record.seconds < spin["spin_end_s"] + 2.0)
    height = true.copy()
    height[stands] = true[np.flatnonzero(stands)[0]]
    record.columns["pressure_altitude_ft"] = height
    (recovered,) = of_kind(Detector(sortie="t", plan=plan_of(f)).feed(block_of(record)), Kind.RECOVERED)
    level_ft = float(np.interp(spin["level_s"], f.time_s, f.columns["pressure_altitude_ft"]))
    assert recovered.data["altitude_ft"] == pytest.approx(level_ft, abs=60.0)
