"""Beginnings and ends as other aircraft and hands fly them: the rotary-balance source, one named flight for each rule."""

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, events_of, flight, of_kind, plan_of
from tests.truth.flight import START_NS, Flight
from tests.truth.keep import kept
from tests.truth.rotary.flights import build

from spinfloor.core.channels import PRESSURE_ALTITUDE
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock


def rotary(situation: str, seed: int) -> Flight:
    return kept("rotary", situation, seed, build)


def told(f: Flight, *, five: bool = False) -> list[Event]:
    return events_of(f, "none, 100 Hz", five=five)


def seconds(time_ns: int) -> float:
    return (time_ns - START_NS) * 1e-9


@pytest.mark.parametrize(("situation", "seed"), [("out of a hammerhead", 1), ("many turns", 0)])
def test_a_spin_out_of_a_mush_is_not_taken_for_a_roll(situation: str, seed: int) -> None:
    """Held in the stall the path is steep before the wing autorotates; it took half a turn more, up to 6 s."""
    f = rotary(situation, seed)
    start = of_kind(told(f), Kind.SPIN_STARTED)[0]
    assert seconds(start.detected_ns) - f.truth["spins"][0]["start_s"] < 4.0


def test_a_rotation_that_goes_the_other_way_has_stopped() -> None:
    f = rotary("out of a hammerhead", 5)
    (end,) = of_kind(told(f), Kind.SPIN_ENDED)
    assert seconds(end.time_ns) == pytest.approx(f.truth["spins"][0]["spin_end_s"], abs=0.3)


@pytest.mark.parametrize("seed", [0, 2])
def test_by_rates_a_dive_near_the_stall_is_no_spin_that_goes_on(seed: int) -> None:
    """A 4 g spiral with r against p like a stall kept it alive for 9 to 11 s."""
    f = rotary("hands off", seed)
    end = of_kind(told(f, five=True), Kind.SPIN_ENDED)[0]
    assert seconds(end.time_ns) == pytest.approx(f.truth["spins"][0]["spin_end_s"], abs=1.0)


@pytest.mark.parametrize(("situation", "seed"), [("sideslips", 4), ("gyration", 3)])
def test_by_rates_what_hardly_turns_is_no_spin(situation: str, seed: int) -> None:
    assert not of_kind(told(rotary(situation, seed), five=True), Kind.SPIN_STARTED)


def test_a_standstill_in_a_known_spin_widens_the_interval() -> None:
    f = rotary("out of a climb", 0)
    spin = f.truth["spins"][0]
    end = of_kind(told(f), Kind.SPIN_ENDED)[0]
    missed = abs(end.data["turns"] - spin["turns"]["start_to_spinend"]["about_flight_path"])
    assert missed < 1.96 * float(str(end.data["turns_sd"]))


def _with_altitude(f: Flight, from_s: float, to_s: float, value_m: float, moving_m: float = 0.0) -> list[Event]:
    """The altitude set to a value, or to one that moves by `moving_m` and back every half second."""
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    t = (whole.time_ns - START_NS) * 1e-9
    there = (t >= from_s) & (t < to_s)
    values[there, PRESSURE_ALTITUDE] = value_m + moving_m * np.sin(4.0 * np.pi * t[there])
    return Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(whole.time_ns, values))


def test_a_burst_of_zeros_is_no_altitude() -> None:
    """Four frames of it were believed: every floor crossed, and recover called."""
    events = _with_altitude(flight("developed", 0), 3.0, 3.4, 0.0)
    assert not [e for e in of_kind(events, Kind.FLOOR_CROSSED) if seconds(e.detected_ns) < 5.0]
    assert not [e for e in of_kind(events, Kind.CALL) if seconds(e.detected_ns) < 5.0 and e.data["call"] == "recover"]


def test_a_level_that_stays_is_believed_after_a_second() -> None:
    """It moves as an altitude does; one that stands bit for bit is believed after ten seconds."""
    for moving_m, at_s in ((1.0, 21.0), (0.0, 30.0)):
        events = _with_altitude(flight("steep turn", 0), 20.0, 90.0, 700.0, moving_m)
        crossed = of_kind(events, Kind.FLOOR_CROSSED)
        assert crossed
        assert np.all([at_s - 0.1 < seconds(e.detected_ns) < at_s + 2.0 for e in crossed])


def test_a_level_that_stands_still_is_never_believed_in_a_spin() -> None:
    """The spin sinks by 20,000 ft meanwhile: however long it stands, it is no altitude."""
    events = _with_altitude(flight("not recovered", 0), 12.0, 90.0, 0.0)
    assert not [e for e in of_kind(events, Kind.FLOOR_CROSSED) if seconds(e.detected_ns) < 20.0]
