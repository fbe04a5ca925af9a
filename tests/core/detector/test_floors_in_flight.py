"""Floors, altimeter setting and ground elevation changed in flight: heights remembered move with their datum."""

from __future__ import annotations

import pytest
from tests.core.detector.flights import clean_block, flight, of_kind, plan_of

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan, Reference

FLIGHT = flight("developed", 0)
SPIN = FLIGHT.truth["spins"][0]


def _plan(reference: Reference) -> Plan:
    plan = plan_of(FLIGHT)
    return plan.model_copy(update={"floors": plan.floors.model_copy(update={"reference": reference})})


def _fly(plan: Plan, at_s: float | None, **change: float) -> list[Event]:
    block, detector = clean_block(FLIGHT), Detector(sortie="t", plan=plan)
    cut = 0 if at_s is None else int(at_s * 50)
    events = detector.feed(FrameBlock(block.time_ns[:cut], block.values[:cut]))
    if at_s is not None:
        detector.set_floors(plan.floors.model_copy(update=change), detector.time_ns, "test conductor")
    return events + detector.feed(FrameBlock(block.time_ns[cut:], block.values[cut:]))


def _losses_ft(events: list[Event]) -> list[float]:
    (ended,), (level,) = of_kind(events, Kind.SPIN_ENDED), of_kind(events, Kind.RECOVERED)
    told = [
        ended.data["loss_ft"],
        ended.data["recovery_loss_ft"],
        level.data["loss_ft"],
        level.data["pull_out_loss_ft"],
    ]
    return [float(str(x)) for x in told]


@pytest.mark.parametrize(
    "at_s", [SPIN["recovery_controls_s"] - 3.0, SPIN["recovery_controls_s"] + 1.0, SPIN["spin_end_s"] + 3.0]
)
@pytest.mark.parametrize("setting_hpa", [983.0, 1040.0])
def test_a_setting_changed_in_the_spin_or_the_dive_is_no_loss(at_s: float, setting_hpa: float) -> None:
    plan = _plan(Reference.SEA_LEVEL)
    assert _losses_ft(_fly(plan, at_s, altimeter_setting_hpa=setting_hpa)) == pytest.approx(
        _losses_ft(_fly(plan, None)), abs=15.0
    )


def test_cards_heights_move_with_the_ground() -> None:
    """Entry and floor are both above the ground: what is left before the spin changes with its elevation by the air's density only."""
    plan = _plan(Reference.GROUND)
    block, detector = clean_block(FLIGHT), Detector(sortie="t", plan=plan)
    detector.feed(FrameBlock(block.time_ns[:100], block.values[:100]))
    before = _median(detector)
    detector.set_floors(plan.floors.model_copy(update={"ground_elevation_ft": 4_000.0}), detector.time_ns, "x")
    detector.feed(FrameBlock(block.time_ns[100:150], block.values[100:150]))
    assert _median(detector) == pytest.approx(before, rel=0.01)


def _median(detector: Detector) -> float:
    left = detector.snapshot()["altitude_left_ft"]
    assert isinstance(left, dict)
    return float(str(left["median"]))
