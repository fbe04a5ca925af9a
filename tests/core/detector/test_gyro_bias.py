"""A gyro that does not read zero at rest: learnt in straight flight, or from the attitude, before the spin counts with it."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flags, flight, of_kind, plan_of
from tests.truth.degrade import RATES, Record, noise, pristine, required_five
from tests.truth.flight import START_NS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind

STRAIGHT_S = 120.0
RATE_HZ = 50.0


def after_straight_flight(situation: str, seed: int, bias_dps: float) -> Record:
    """Two minutes of level flight before the recorded flight, and a bias on every gyro from its first frame on."""
    record = pristine(flight(situation, seed), RATE_HZ)
    n = round(STRAIGHT_S * RATE_HZ)
    step = int(1e9 / RATE_HZ)
    before = record.time_ns[0] - step * np.arange(n, 0, -1)
    held = {k: np.full(n, 0.0 if k in RATES or k == "roll_deg" else v[0]) for k, v in record.columns.items()}
    columns = {k: np.concatenate([held[k], v]) for k, v in record.columns.items()}
    longer = Record(np.concatenate([before, record.time_ns]), columns, record.spins)
    noisy = noise(longer, np.random.default_rng(7), 0.3)
    return noisy.with_columns({k: noisy.columns[k] + bias_dps for k in RATES})


@pytest.mark.parametrize(("situation", "seed"), [("flat", 2), ("developed", 8)])
@pytest.mark.parametrize(("bias_dps", "five"), [(-3.0, False), (3.0, False), (-1.5, True), (1.5, True)])
def test_a_bias_that_could_be_learnt_costs_no_turn(situation: str, seed: int, bias_dps: float, five: bool) -> None:
    """3 deg/s through a spin of 20 s is a sixth of a turn for each gyro; by rates more than 1.7 on all three is no rest."""
    f = flight(situation, seed)
    record = after_straight_flight(situation, seed, bias_dps)
    record = required_five(record) if five else record
    events = Detector(sortie="t", plan=plan_of(f)).feed(block_of(record))
    assert flags(events) == set()
    start, end = of_kind(events, Kind.SPIN_STARTED)[0], of_kind(events, Kind.SPIN_ENDED)[0]
    between = [(e.time_ns - START_NS) * 1e-9 for e in (start, end)]  # as told, so that its dating is not judged here
    flown = np.interp(between, f.time_s, f.turns_about_flight_path)
    assert float(str(end.data["turns"])) == pytest.approx(abs(flown[1] - flown[0]), abs=0.07)
