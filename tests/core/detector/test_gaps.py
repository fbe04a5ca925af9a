"""Up to two seconds without a frame in a spin: bridged by attitude or by mean rates, flagged, and less sure afterwards."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.core.detector.flights import block_of, events_of, flags, flight, of_kind, plan_of
from tests.truth.degrade import pristine, required_five
from tests.truth.flight import START_NS
from tests.truth.keep import kept
from tests.truth.rotary import flights as rotary

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHTS = (("developed", 8), ("developed", 0), ("flat", 2), ("inverted", 3), ("power on", 1))


@cache
def told(situation: str, seed: int, five: bool, share: float, gap_s: float) -> tuple[Event, ...]:
    """Events with `gap_s` of frames missing from `share` of the spin on."""
    f = flight(situation, seed)
    record = pristine(f, 50.0)
    spin = f.truth["spins"][0]
    from_s = spin["start_s"] + share * (spin["spin_end_s"] - spin["start_s"])
    record = record.keep((record.seconds < from_s) | (record.seconds >= from_s + gap_s))
    block: FrameBlock = block_of(required_five(record) if five else record)
    return tuple(Detector(sortie="t", plan=plan_of(f)).feed(block))


def turns(events: tuple[Event, ...]) -> tuple[float, float]:
    ended = of_kind(list(events), Kind.SPIN_ENDED)[0].data
    return float(str(ended["turns"])), float(str(ended["turns_sd"]))


@BOTH
@pytest.mark.parametrize("share", [0.3, 0.6])
@pytest.mark.parametrize("gap_s", [0.6, 1.3])
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_a_short_gap_costs_no_turn(situation: str, seed: int, gap_s: float, share: float, five: bool) -> None:
    whole, _ = turns(told(situation, seed, five, share, 0.0))
    events = told(situation, seed, five, share, gap_s)
    assert flags(list(events)) == {("time_ns", "gap")}
    assert turns(events)[0] == pytest.approx(whole, abs=0.10)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_two_seconds_cost_no_turn(situation: str, seed: int, share: float) -> None:
    """More than a turn goes by unseen; the attitude before and after does not say how many."""
    whole, _ = turns(told(situation, seed, False, share, 0.0))
    got, sd = turns(told(situation, seed, False, share, 2.0))
    assert got == pytest.approx(whole, abs=0.20)
    assert abs(got - whole) < 1.96 * sd


@BOTH
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_the_longer_the_gap_the_less_sure(situation: str, seed: int, five: bool) -> None:
    stated = [turns(told(situation, seed, five, 0.6, gap_s))[1] for gap_s in (0.0, 0.6, 1.3, 2.0)]
    assert np.all(np.diff(stated) > 0.0)


@pytest.mark.parametrize(
    ("situation", "seed", "from_s", "gap_s"), [("aborted entry", 0, -0.3, 1.4), ("snap roll", 3, -0.6, 1.0)]
)
def test_a_gap_that_hides_how_a_rotation_began_makes_no_spin(
    situation: str, seed: int, from_s: float, gap_s: float
) -> None:
    """By the rates at its two ends the aircraft may have turned any way in it: the carried vertical says little then."""
    f = kept(rotary.SOURCE, situation, seed, rotary.build)
    assert not f.truth["spins"]
    begins_s = f.time_s[np.argmax(np.hypot(f.columns["roll_rate_dps"], f.columns["yaw_rate_dps"]) > 60.0)] + from_s
    record = required_five(pristine(f, 50.0))
    record = record.keep((record.seconds < begins_s) | (record.seconds >= begins_s + gap_s))
    assert not of_kind(Detector(sortie="t", plan=plan_of(f)).feed(block_of(record)), Kind.SPIN_STARTED)


@pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("flat", 2)])
def test_a_wild_first_value_after_a_gap_ends_no_spin(situation: str, seed: int) -> None:
    """Beyond any roll rate that could be reached: believed, it had the rotation stop in the middle of the gap."""
    f = flight(situation, seed)
    record = pristine(f, 50.0)
    spin = f.truth["spins"][0]
    from_s = 0.5 * (spin["start_s"] + spin["recovery_controls_s"])
    record = record.keep((record.seconds < from_s) | (record.seconds >= from_s + 1.9))
    first = int(np.searchsorted(record.seconds, from_s))
    rates = record.columns["roll_rate_dps"].copy()
    rates[first] -= np.copysign(560.0, rates[first])
    record.columns["roll_rate_dps"] = rates
    events = Detector(sortie="t", plan=plan_of(f)).feed(block_of(record))
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    assert (ended.time_ns - START_NS) * 1e-9 == pytest.approx(spin["spin_end_s"], abs=0.3)
    whole, _ = turns(told(situation, seed, False, 0.5, 0.0))
    assert float(str(ended.data["turns"])) == pytest.approx(whole, abs=0.20)


def test_a_dirty_recorder_makes_no_two_spins_of_one() -> None:
    f = flight("developed", 0)
    assert len(of_kind(events_of(f, "dirty recorder, 100 Hz"), Kind.SPIN_STARTED)) == 1
