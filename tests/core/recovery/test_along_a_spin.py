"""Altitude left and turns left followed along whole flights with known truth, from the first turn to level flight."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flight, of_kind, plan, plan_of
from tests.truth.flight import START_NS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan

FLIGHTS = [("developed", 8), ("developed", 10), ("inverted", 3), ("power on", 1), ("flat", 2)]
RECOVERY_FLOOR_FT = 3000.0


@cache
def along(situation: str, seed: int) -> tuple[tuple[float, dict[str, object]], ...]:
    """(seconds, snapshot) ten times a second."""
    f = flight(situation, seed)
    block = clean_block(f)
    detector = Detector(sortie="t", plan=plan_of(f))
    out: list[tuple[float, dict[str, object]]] = []
    for i in range(0, len(block.time_ns), 5):
        part = FrameBlock(block.time_ns[i : i + 5], block.values[i : i + 5])
        detector.feed(part)
        out.append(((int(part.time_ns[-1]) - START_NS) * 1e-9, dict(detector.snapshot())))
    return tuple(out)


def part(value: object, key: str) -> float:
    assert isinstance(value, dict)
    return float(value[key])


@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_near_level_flight_nearly_all_is_left_that_is_there(situation: str, seed: int) -> None:
    """In the last sixth of the pull-out the median is within 200 ft of the truth, the bound below it and within 500."""
    f = flight(situation, seed)
    spin = f.truth["spins"][0]
    level_ft = float(np.interp(spin["level_s"], f.time_s, f.columns["pressure_altitude_ft"]))
    from_s = spin["level_s"] - (spin["level_s"] - spin["spin_end_s"]) / 6.0
    seen = [s["altitude_left_ft"] for t, s in along(situation, seed) if from_s < t < spin["level_s"]]
    assert len(seen) >= 3
    for left in seen:
        assert part(left, "median") == pytest.approx(level_ft - RECOVERY_FLOOR_FT, abs=200.0)
        assert level_ft - RECOVERY_FLOOR_FT - 500.0 < part(left, "bound") < level_ft - RECOVERY_FLOOR_FT + 30.0


@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_the_first_turn_does_not_promise_hundreds(situation: str, seed: int) -> None:
    """Its sink builds up: what is lost so far says little, and the plan's loss per turn holds until it does."""
    spin = flight(situation, seed).truth["spins"][0]
    young = [
        s for t, s in along(situation, seed) if s["in_spin"] and t < spin["recovery_controls_s"] and _turns(s) < 1.0
    ]
    assert young
    for s in young:
        turns_left, left = part(s["turns_left"], "median"), part(s["altitude_left_ft"], "median")
        assert left / turns_left > 0.5 * default_loss_per_turn_ft()


def _turns(snapshot: dict[str, object]) -> float:
    value = snapshot["turns"]
    assert isinstance(value, float)
    return value


def default_loss_per_turn_ft() -> float:
    return float(plan().aircraft.priors.loss_per_turn_ft.mean)


def test_recovered_is_said_with_the_card_that_was_flown() -> None:
    """The next card is up by then: the call carried that one, and the event the other."""
    f = flight("developed", 8)
    base = plan_of(f).model_dump()
    side = f.truth["spins"][0]
    cards = [
        {"id": name, "direction": side["direction"], "turns": 5.0, "entry_altitude_ft": 10000.0} for name in ("A", "B")
    ]
    events: list[Event] = Detector(sortie="t", plan=Plan.model_validate({**base, "cards": cards})).feed(clean_block(f))
    (recovered,) = of_kind(events, Kind.RECOVERED)
    said = [e for e in of_kind(events, Kind.CALL) if e.data["reason"] == "recovered"]
    assert [e.data["card"] for e in said] == [recovered.data["card"]] == ["A"]


def test_a_reason_says_what_is_there_and_what_is_to_come() -> None:
    """Repeated below it, *abandon* no longer says that the floor is reached within the lead; the planned turns likewise."""
    f = flight("developed", 8)
    spin = f.truth["spins"][0]
    entry_ft = float(np.interp(spin["start_s"], f.time_s, f.columns["pressure_altitude_ft"]))
    base = plan_of(f).model_dump()
    floors = {"recovery_ft": entry_ft - 900.0, "abandon_ft": entry_ft - 1000.0}
    cards = [{"id": "A", "direction": spin["direction"], "turns": 2.0, "entry_altitude_ft": entry_ft}]
    block = clean_block(f)
    pedal = block.values.copy()
    pedal[:, 11:] = np.nan  # no controls: nothing silences the calls before the end
    told = Detector(sortie="t", plan=Plan.model_validate({**base, "floors": floors, "cards": cards})).feed(
        FrameBlock(block.time_ns, pedal)
    )
    calls = [e for e in of_kind(told, Kind.CALL) if e.data["call"] == "abandon"]
    below = [float(str(e.data["altitude_ft"])) <= floors["abandon_ft"] for e in calls]
    assert {True, False} == set(below)
    for call, under in zip(calls, below, strict=True):
        assert str(call.data["reason"]).startswith(
            "below the abandon floor" if under else "abandon floor reached within the lead"
        )


@pytest.mark.parametrize(("after_s", "least_s"), [(4.5, 1.6), (6.5, 2.2), (8.5, 2.2)])
@pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("developed", 10), ("inverted", 3), ("flat", 2)])
def test_a_floor_is_called_with_its_lead_while_the_sink_builds_up(
    situation: str, seed: int, after_s: float, least_s: float
) -> None:
    """A floor that the aircraft reaches so long after the spin began, called with the plan's lead of 2.5 s."""
    f = flight(situation, seed)
    spin = f.truth["spins"][0]
    reached_s = spin["start_s"] + after_s
    assert reached_s < spin["recovery_controls_s"]
    floor_ft = float(np.interp(reached_s, f.time_s, f.columns["pressure_altitude_ft"]))
    base = plan_of(f).model_dump()
    cards = [{"id": "A", "direction": spin["direction"], "turns": 9.0, "entry_altitude_ft": 40_000.0}]
    floors = {"recovery_ft": floor_ft + 10.0, "abandon_ft": floor_ft}
    events = Detector(sortie="t", plan=Plan.model_validate({**base, "floors": floors, "cards": cards})).feed(
        clean_block(f)
    )
    first = next(e for e in of_kind(events, Kind.CALL) if e.data["call"] == "abandon")
    left_s = reached_s - (first.detected_ns - START_NS) * 1e-9
    assert least_s < left_s < 3.5
