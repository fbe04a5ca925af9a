"""A rate gyro that never speaks, or dies in the spin: the attitude stands in for it; without it turns are a lower bound."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flight, of_kind, plan_of
from tests.truth.flight import START_NS

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHTS = pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("inverted", 3), ("flat", 2)])
ATTITUDE = [ch.ROLL, ch.PITCH, ch.HEADING]
OPTIONAL = [c for c in range(ch.CHANNEL_COUNT) if c > ch.PRESSURE_ALTITUDE]


def told(situation: str, seed: int, dead: list[int], from_s: float = 0.0, without: tuple[int, ...] = ()) -> list[Event]:
    """Events with these rates missing from `from_s` on, and other channels not there at all."""
    f = flight(situation, seed)
    block = clean_block(f)
    values = block.values.copy()
    late = (block.time_ns - START_NS) * 1e-9 >= from_s
    for channel in dead:
        values[late, channel] = np.nan
    values[:, list(without)] = np.nan
    return Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(block.time_ns, values))


@FLIGHTS
@pytest.mark.parametrize(
    "dead", [[ch.ROLL_RATE], [ch.PITCH_RATE], [ch.YAW_RATE], [ch.ROLL_RATE, ch.PITCH_RATE, ch.YAW_RATE]], ids=str
)
def test_with_attitude_nothing_is_lost(situation: str, seed: int, dead: list[int]) -> None:
    """A dead roll gyro had the start seven seconds late and half the turns, within a hundredth by its own account."""
    spin = flight(situation, seed).truth["spins"][0]
    events = told(situation, seed, dead)
    (started,), (ended,) = of_kind(events, Kind.SPIN_STARTED), of_kind(events, Kind.SPIN_ENDED)
    assert (started.data["orientation"], started.data["direction"]) == (spin["orientation"], spin["direction"])
    assert (started.time_ns - START_NS) * 1e-9 == pytest.approx(spin["start_s"], abs=0.8)
    assert (ended.time_ns - START_NS) * 1e-9 == pytest.approx(spin["spin_end_s"], abs=0.3)
    assert ended.data["turns"] == pytest.approx(spin["turns"]["start_to_spinend"]["about_flight_path"], abs=0.15)
    assert ended.data["turns_lower_bound"] is False


@FLIGHTS
def test_it_may_die_in_the_spin(situation: str, seed: int) -> None:
    spin = flight(situation, seed).truth["spins"][0]
    events = told(situation, seed, [ch.ROLL_RATE], spin["start_s"] + 4.0)
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    assert ended.data["turns"] == pytest.approx(spin["turns"]["start_to_spinend"]["about_flight_path"], abs=0.15)


@FLIGHTS
@pytest.mark.parametrize("dead", [ch.ROLL_RATE, ch.PITCH_RATE, ch.YAW_RATE])
def test_without_attitude_turns_are_a_lower_bound(situation: str, seed: int, dead: int) -> None:
    spin = flight(situation, seed).truth["spins"][0]
    events = told(situation, seed, [dead], spin["start_s"] + 4.0, tuple(OPTIONAL))
    turns = [e for e in of_kind(events, Kind.SPIN_TURN) if e.time_ns > START_NS + (spin["start_s"] + 5.0) * 1e9]
    assert all(e.data["turns_lower_bound"] is True for e in [*turns, *of_kind(events, Kind.SPIN_ENDED)])
    assert "data degraded" in [e.data["reason_code"] for e in of_kind(events, Kind.CALL)]
