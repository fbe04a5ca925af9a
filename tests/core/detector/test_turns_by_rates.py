"""Turns counted without vanes: about the vertical by the carried down, about the path with the sideslip the rates tell.

Against the simulator's exact counters over the interval the detector itself names, so that its dating is not judged here.
"""

import numpy as np
import pytest
from tests.core.detector.flights import block_of, clean_block, flight, plan_of
from tests.truth import kinematic
from tests.truth.degrade import degraded
from tests.truth.flight import START_NS, Flight
from tests.truth.keep import kept

from spinfloor.core.channels import BETA
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHTS = [("developed", 0), ("developed", 3), ("flat", 2), ("flat", 3), ("oscillatory", 0), ("inverted", 3)]


def first_spin(f: Flight, block: FrameBlock) -> tuple[Event, float, float]:
    """The end of the first spin and the true turns (path, vertical) between its told start and end."""
    events = Detector(sortie="t", plan=plan_of(f)).feed(block)
    start = next(e for e in events if e.kind is Kind.SPIN_STARTED)
    end = next(e for e in events if e.kind is Kind.SPIN_ENDED)
    between = [(e.time_ns - START_NS) * 1e-9 for e in (start, end)]
    path = np.interp(between, f.time_s, f.turns_about_flight_path)
    vertical = np.interp(between, f.time_s, f.turns_about_vertical)
    return end, abs(path[1] - path[0]), abs(vertical[1] - vertical[0])


@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_rates_and_altitude(situation: str, seed: int) -> None:
    f = flight(situation, seed)
    end, path, vertical = first_spin(f, block_of(degraded(f, "none, 100 Hz", five=True)))
    assert end.data["turns"] == pytest.approx(path, abs=0.06)
    assert end.data["turns_about_vertical"] == pytest.approx(vertical, abs=0.2)


@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_alpha_without_sideslip(situation: str, seed: int) -> None:
    f = flight(situation, seed)
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    values[:, BETA] = np.nan
    end, path, _ = first_spin(f, FrameBlock(whole.time_ns, values))
    assert end.data["turns"] == pytest.approx(path, abs=0.06)


def test_the_sideslip_told_is_what_makes_the_difference() -> None:
    """A spin with 27 deg of sideslip, 46 turns long: without it two turns were lost."""
    f = flight("reversal", 1)
    events = Detector(sortie="t", plan=plan_of(f)).feed(block_of(degraded(f, "none, 100 Hz", five=True)))
    start = next(e for e in events if e.kind is Kind.SPIN_STARTED)
    last = [e for e in events if e.kind is Kind.SPIN_TURN][-1]
    between = [(e.time_ns - START_NS) * 1e-9 for e in (start, last)]
    true = np.interp(between, f.time_s, f.turns_about_flight_path)
    assert last.data["turns"] == pytest.approx(abs(true[1] - true[0]), rel=0.01)


def test_a_flat_entry_whose_roll_rate_is_small_and_of_either_sign_is_counted_one_way() -> None:
    """It was counted backwards for a second and a half, and ended eight tenths of a turn short."""
    f = kept("kinematic", "flat", 3, kinematic.build)
    end, path, _ = first_spin(f, block_of(degraded(f, "none, 100 Hz", five=True)))
    assert end.data["turns"] == pytest.approx(path, abs=0.2)
