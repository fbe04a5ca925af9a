"""Frames behind the last one: a stretch of late ones is left out, a clock that was set back is followed; both are said."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flags, flight, of_kind, plan_of

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("developed", 8)
SPIN = FLIGHT.truth["spins"][0]
TURNS = float(SPIN["turns"]["start_to_spinend"]["about_flight_path"])
RATE_HZ = 50


def stamped_back(frames: int | None, seconds: float, after_s: float) -> list[Event]:
    """A stretch of frames (None: all that follow) stamped earlier, from `after_s` into the spin on."""
    block = clean_block(FLIGHT, RATE_HZ)
    first = int((SPIN["start_s"] + after_s) * RATE_HZ)
    times = block.time_ns.copy()
    times[first : len(times) if frames is None else first + frames] -= round(seconds * 1e9)
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(FrameBlock(times, block.values))


def turns(events: list[Event]) -> float:
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    return float(str(ended.data["turns"]))


@pytest.mark.parametrize("frames", [1, 4, 8, 12, 20])
def test_a_few_frames_a_second_behind_are_late_and_no_clock_is_set(frames: int) -> None:
    """Up to half a second of them; what they would have told is bridged."""
    events = stamped_back(frames, 1.0, 4.0)
    assert {flag for channel, flag in flags(events) if channel == "time_ns"} <= {"out of order", "gap"}
    assert ("time_ns", "out of order") in flags(events)
    assert turns(events) == pytest.approx(TURNS, abs=0.10)


@pytest.mark.parametrize("seconds", [1.0, 5.0, 3600.0])
def test_a_clock_that_stays_behind_was_set(seconds: float) -> None:
    events = stamped_back(None, seconds, 4.0)
    assert ("time_ns", "clock jump") in flags(events)
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    assert ended.data["turns_lower_bound"] is True
    assert np.floor(TURNS) - 1.0 < turns(events) < TURNS + 0.15
