"""The numbers in the events of a spin, one by one, against the simulator's state at the very time each event names."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from tests.core.detector.flights import events_of, flight, of_kind
from tests.truth.flight import START_NS, Flight
from tests.truth.keep import kept
from tests.truth.kinematic import build as prescribed

from spinfloor.core.events import Event, Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHTS = pytest.mark.parametrize(
    ("situation", "seed"), [("developed", 0), ("developed", 8), ("flat", 2), ("inverted", 3), ("power on", 1)]
)


def seconds(event: Event) -> float:
    return (event.time_ns - START_NS) * 1e-9


def number(event: Event, name: str) -> float:
    return float(str(event.data[name]))


@cache
def told(situation: str, seed: int, five: bool, fault: str = "10 Hz") -> tuple[Event, ...]:
    """At 10 Hz a frame is a tenth of a second, 30 ft and a twentieth of a turn: what is not interpolated shows."""
    return tuple(events_of(flight(situation, seed), fault, five=five))


def height_ft(f: Flight, t: float) -> float:
    return float(np.interp(t, f.time_s, f.columns["pressure_altitude_ft"]))


def flown(f: Flight, a: float, b: float, *, vertical: bool = False) -> float:
    turned = f.turns_about_vertical if vertical else f.turns_about_flight_path
    return abs(float(np.interp(b, f.time_s, turned) - np.interp(a, f.time_s, turned)))


def one(situation: str, seed: int, five: bool, kind: Kind) -> Event:
    return of_kind(list(told(situation, seed, five)), kind)[0]


@FLIGHTS
@BOTH
def test_a_turn_is_dated_to_when_it_was_complete(situation: str, seed: int, five: bool) -> None:
    """Not to the frame after, nor to when the spin became known. Counted from the told start, which is not judged here."""
    f = flight(situation, seed)
    start = seconds(one(situation, seed, five, Kind.SPIN_STARTED))
    turns = of_kind(list(told(situation, seed, five)), Kind.SPIN_TURN)
    assert len(turns) > 2
    for event in turns[1:]:
        assert flown(f, start, seconds(event)) == pytest.approx(number(event, "turns"), abs=0.12 if five else 0.04)
    gaps = np.diff([flown(f, start, seconds(e)) for e in turns[1:]])
    np.testing.assert_allclose(gaps, 1.0, atol=0.06 if five else 0.02)


@FLIGHTS
@BOTH
def test_height_and_loss_of_a_turn_are_those_of_its_time(situation: str, seed: int, five: bool) -> None:
    f = flight(situation, seed)
    turns = of_kind(list(told(situation, seed, five)), Kind.SPIN_TURN)[1:]
    heights = [height_ft(f, seconds(e)) for e in turns]
    np.testing.assert_allclose([number(e, "altitude_ft") for e in turns], heights, atol=6.0)
    np.testing.assert_allclose([number(e, "loss_ft") for e in turns[1:]], -np.diff(heights), atol=10.0)
    np.testing.assert_allclose(
        [number(e, "seconds") for e in turns[1:]], np.diff([seconds(e) for e in turns]), atol=0.01
    )


@FLIGHTS
def test_turns_about_the_vertical_are_those_of_the_same_time(situation: str, seed: int) -> None:
    f = flight(situation, seed)
    start = seconds(one(situation, seed, False, Kind.SPIN_STARTED))
    for event in of_kind(list(told(situation, seed, False)), Kind.SPIN_TURN)[1:]:
        true = flown(f, start, seconds(event), vertical=True)
        assert number(event, "turns_about_vertical") == pytest.approx(true, abs=0.05)


@FLIGHTS
@BOTH
def test_what_the_end_sums_up_is_what_was_told_on_the_way(situation: str, seed: int, five: bool) -> None:
    f = flight(situation, seed)
    start, recovery, end = (
        one(situation, seed, five, kind) for kind in (Kind.SPIN_STARTED, Kind.RECOVERY_STARTED, Kind.SPIN_ENDED)
    )
    assert number(end, "seconds") == pytest.approx(seconds(end) - seconds(start), abs=0.002)
    assert number(end, "altitude_ft") == pytest.approx(height_ft(f, seconds(end)), abs=8.0)
    assert number(end, "loss_ft") == pytest.approx(number(start, "altitude_ft") - number(end, "altitude_ft"), abs=0.2)
    lost = number(recovery, "altitude_ft") - number(end, "altitude_ft")
    assert number(end, "recovery_loss_ft") == pytest.approx(lost, abs=0.2)
    assert number(recovery, "altitude_ft") == pytest.approx(height_ft(f, seconds(recovery)), abs=12.0)
    assert number(end, "recovery_turns") == pytest.approx(number(end, "turns") - number(recovery, "turns"), abs=0.002)
    assert end.data["recovery_source"] == recovery.data["source"]


@BOTH
@pytest.mark.parametrize(("kind", "expected"), [("faltering", True), ("steady", False)])
@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_rotation_that_swings_once_per_turn_is_oscillatory(kind: str, expected: bool, seed: int, five: bool) -> None:
    """By the swing of the true rotation: well over the limit of 22 %, or well under it."""
    f = kept("kinematic", kind, seed, prescribed)
    spin = f.truth["spins"][0]
    until = spin["recovery_controls_s"] or spin["spin_end_s"] - 2.0
    inside = (f.time_s > spin["start_s"] + 3.5) & (f.time_s < until)
    rate = np.abs(np.gradient(f.turns_about_flight_path, f.time_s))[inside]
    share = float(np.sqrt(2.0) * rate.std() / rate.mean())
    assert (share > 0.27) if expected else (share < 0.17)
    modes = [e for e in of_kind(events_of(f, "none, 100 Hz", five=five), Kind.SPIN_MODE) if seconds(e) < until]
    assert modes[-1].data["oscillatory"] is expected


@BOTH
@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_steady_spin_is_never_said_to_oscillate(seed: int, five: bool) -> None:
    f = kept("kinematic", "steady", seed, prescribed)
    modes = of_kind(events_of(f, "none, 100 Hz", five=five), Kind.SPIN_MODE)
    assert True not in [e.data["oscillatory"] for e in modes]


@BOTH
def test_a_spin_is_developed_once_its_turns_are_alike(five: bool) -> None:
    story = [str(e.data["to"]) for e in of_kind(list(told("developed", 8, five)), Kind.PHASE)]
    in_order = [p for p in story if p in ("incipient", "developed", "recovering", "dive")]
    assert in_order[:4] == ["incipient", "developed", "recovering", "dive"]
    developed = next(e for e in of_kind(list(told("developed", 8, five)), Kind.PHASE) if e.data["to"] == "developed")
    turns = of_kind(list(told("developed", 8, five)), Kind.SPIN_TURN)
    assert seconds(turns[1]) <= seconds(developed) <= seconds(turns[3])
    short = [str(e.data["to"]) for e in of_kind(list(told("half turn", 11, five)), Kind.PHASE)]
    assert "developed" not in short


@BOTH
@pytest.mark.parametrize("fault", ["noise", "noise x4, 50 Hz", "quantised", "dirty recorder, 100 Hz"])
def test_the_stated_uncertainty_of_a_turn_s_loss_holds(fault: str, five: bool) -> None:
    held = []
    for situation, seed in (
        ("developed", 0),
        ("developed", 8),
        ("flat", 2),
        ("flat", 3),
        ("power on", 1),
        ("ailerons with", 2),
    ):
        f = flight(situation, seed)
        turns = of_kind(events_of(f, fault, five=five), Kind.SPIN_TURN)
        for before, event in pairwise(turns):
            missed = number(event, "loss_ft") - (height_ft(f, seconds(before)) - height_ft(f, seconds(event)))
            held.append(abs(missed) <= 1.96 * number(event, "loss_sd_ft"))
    assert len(held) > 15
    assert np.mean(held) >= 0.85
