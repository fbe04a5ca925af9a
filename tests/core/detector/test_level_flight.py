"""Level flight after a spin: said when it is there, never in the dive, whatever the recorder does to the altitude."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import block_of, events_of, flight, of_kind, plan_of
from tests.truth.degrade import pristine
from tests.truth.flight import START_NS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHTS = (("developed", 0), ("developed", 8), ("flat", 2), ("power on", 1), ("half turn", 11))


@BOTH
@pytest.mark.parametrize("fault", [
    "none, 100 Hz", "10 Hz", "noise", "quantised", "lag", "pitot-static", "wild points", "gaps to 2 s",
    "dirty recorder, 25 Hz", "dirty recorder, 100 Hz",
])  # fmt: skip
def test_recovered_is_said_at_level_flight(fault: str, five: bool) -> None:
    """Too early is the unsafe side: what the pull-out still costs would be missing from the margin."""
    for situation, seed in FLIGHTS:
        f = flight(situation, seed)
        level_s = f.truth["spins"][0]["level_s"]
        told = of_kind(events_of(f, fault, five=five), Kind.RECOVERED)
        if not told and f.time_s[-1] < level_s + 2.0:
            continue  # the recording ends before anybody could be sure
        (recovered,) = told
        at_s = (recovered.time_ns - START_NS) * 1e-9
        true_ft = float(np.interp(level_s, f.time_s, f.columns["pressure_altitude_ft"]))
        assert at_s == pytest.approx(level_s, abs=2.5), (situation, seed)
        assert -80.0 < float(str(recovered.data["altitude_ft"])) - true_ft < 60.0, (situation, seed)


def test_a_gap_in_the_pull_out_does_not_keep_it_waiting() -> None:
    """What the aircraft did in two seconds was taken for noise, and a climb of 70 ft for too little."""
    f = flight("developed", 0)
    spin = f.truth["spins"][0]
    record = pristine(f, 50.0)
    from_s = spin["level_s"] - 2.6
    record = record.keep((record.seconds < from_s) | (record.seconds >= from_s + 2.0))
    (recovered,) = of_kind(Detector(sortie="t", plan=plan_of(f)).feed(block_of(record)), Kind.RECOVERED)
    assert (recovered.detected_ns - START_NS) * 1e-9 < spin["level_s"] + 3.0
