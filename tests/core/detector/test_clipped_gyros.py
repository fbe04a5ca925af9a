"""A gyro at its rail, roll or yaw, with its range in the plan and without: said; made good by attitude, else a lower bound."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flags, flight, of_kind, plan_of
from tests.truth.degrade import noise, pristine, required_five

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind

NAMES = ("roll_rate_dps", "yaw_rate_dps")
FLIGHTS = pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("flat", 2), ("inverted", 3)])


def clipped(situation: str, seed: int, name: str, five: bool, stated: bool) -> tuple[list[Event], float, float]:
    """Events, true turns, and the rail: 70 % of the largest rate of the steady part."""
    f = flight(situation, seed)
    record = noise(pristine(f, 100.0), np.random.default_rng(3), 0.5)
    spin = f.truth["spins"][0]
    inside = (record.seconds > spin["start_s"] + 2.0) & (record.seconds < spin["recovery_controls_s"])
    rail = 0.7 * float(np.percentile(np.abs(record.columns[name][inside]), 90.0))
    record = record.with_columns({name: np.clip(record.columns[name], -rail, rail)})
    record = required_five(record) if five else record
    plan = plan_of(f, sensor_ranges={name: rail}) if stated else plan_of(f)
    events = Detector(sortie="t", plan=plan).feed(block_of(record))
    return events, float(spin["turns"]["start_to_spinend"]["about_flight_path"]), rail


@FLIGHTS
@pytest.mark.parametrize("stated", [True, False], ids=["range in the plan", "range not known"])
@pytest.mark.parametrize("name", NAMES)
def test_with_attitude_the_turns_stay_right(situation: str, seed: int, name: str, stated: bool) -> None:
    events, true, rail = clipped(situation, seed, name, False, stated)
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    assert abs(float(str(ended.data["turns"])) - true) < 0.15
    assert ended.data["turns_lower_bound"] is False
    if stated or rail > 50.0:
        assert (name, "clipped") in flags(events)


@FLIGHTS
@pytest.mark.parametrize("stated", [True, False], ids=["range in the plan", "range not known"])
@pytest.mark.parametrize("name", NAMES)
def test_without_it_they_are_a_lower_bound(situation: str, seed: int, name: str, stated: bool) -> None:
    events, true, rail = clipped(situation, seed, name, True, stated)
    if not stated and rail <= 50.0:
        pytest.skip("so slow a rate at its peak is taken for what it says")
    ended = of_kind(events, Kind.SPIN_ENDED)[0]
    assert ended.data["turns_lower_bound"] is True
    assert float(str(ended.data["turns"])) < true + 1.96 * float(str(ended.data["turns_sd"]))
    assert (name, "clipped") in flags(events)
