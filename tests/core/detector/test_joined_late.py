"""Followed from inside a spin only: the recording, or the source, began late."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flight, of_kind, plan_of
from tests.truth.degrade import pristine, required_five
from tests.truth.flight import START_NS, Flight
from tests.truth.keep import kept
from tests.truth.library import build as library

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHTS = [("developed", 8), ("developed", 10), ("inverted", 3), ("power on", 1)]


def moment(f: Flight, share: float) -> float:
    spin = f.truth["spins"][0]
    return float(spin["start_s"] + share * (spin["recovery_controls_s"] - spin["start_s"]))


@cache
def joined(situation: str, seed: int, five: bool, share: float, blind_s: float = 0.0) -> tuple[Event, ...]:
    """Events of what comes after `share` of the spin, its first `blind_s` seconds without altitude."""
    f = flight(situation, seed)
    record = pristine(f, 50.0)
    record = record.keep(record.seconds >= moment(f, share))
    if five:
        record = required_five(record)
    altitude = record.columns["pressure_altitude_ft"].copy()
    altitude[record.seconds < record.seconds[0] + blind_s] = np.nan
    record.columns["pressure_altitude_ft"] = altitude
    return tuple(Detector(sortie="t", plan=plan_of(f)).feed(block_of(record)))


def true_height_ft(f: Flight, seconds: float) -> float:
    return float(np.interp(seconds, f.time_s, f.columns["pressure_altitude_ft"]))


@BOTH
@pytest.mark.parametrize("share", [0.3, 0.6])
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_a_spin_that_goes_on_already_is_known(situation: str, seed: int, share: float, five: bool) -> None:
    f = flight(situation, seed)
    spin = f.truth["spins"][0]
    from_s = moment(f, share)
    events = list(joined(situation, seed, five, share))
    started, ended = of_kind(events, Kind.SPIN_STARTED)[0], of_kind(events, Kind.SPIN_ENDED)[0]
    assert (started.data["orientation"], started.data["direction"]) == (spin["orientation"], spin["direction"])
    assert started.detected_ns - START_NS < (from_s + 2.5) * 1e9
    assert started.data["altitude_ft"] == pytest.approx(true_height_ft(f, from_s), abs=30.0)
    turned = np.interp([from_s, spin["spin_end_s"]], f.time_s, np.abs(f.turns_about_flight_path))
    assert ended.data["turns"] == pytest.approx(turned[1] - turned[0], abs=0.35 if five else 0.10)
    assert ended.data["loss_ft"] == pytest.approx(
        true_height_ft(f, from_s) - true_height_ft(f, spin["spin_end_s"]), abs=150.0
    )


@BOTH
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_its_turns_are_a_lower_bound(situation: str, seed: int, five: bool) -> None:
    events = list(joined(situation, seed, five, 0.3))
    turns = [*of_kind(events, Kind.SPIN_TURN), *of_kind(events, Kind.SPIN_ENDED)[:1]]
    assert len(turns) > 1
    assert all(e.data["turns_lower_bound"] is True for e in turns)


def test_a_spin_seen_from_its_beginning_has_no_lower_bound() -> None:
    f = flight("developed", 8)
    events = Detector(sortie="t", plan=plan_of(f)).feed(block_of(pristine(f, 50.0)))
    assert all(e.data["turns_lower_bound"] is False for e in of_kind(events, Kind.SPIN_ENDED))


@BOTH
@pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("flat", 2), ("inverted", 3)])
def test_without_an_altitude_yet_none_is_made_up(situation: str, seed: int, five: bool) -> None:
    """The first altitude comes after four seconds: no floor is crossed and no height told before."""
    f = flight(situation, seed)
    events = list(joined(situation, seed, five, 0.3, 4.0))
    first_ns = START_NS + int((moment(f, 0.3) + 4.0) * 1e9)
    before = [e for e in events if e.detected_ns < first_ns]
    assert of_kind(before, Kind.SPIN_STARTED)[0].data["altitude_ft"] is None
    for e in before:
        assert e.kind is not Kind.FLOOR_CROSSED
        assert {e.data.get(key) for key in ("altitude_ft", "loss_ft", "altitude_left_ft")} <= {None}
    ended = of_kind(events, Kind.SPIN_ENDED)[0]
    end_ft = true_height_ft(f, f.truth["spins"][0]["spin_end_s"])
    assert ended.data["altitude_ft"] == pytest.approx(end_ft, abs=150.0)
    loss = true_height_ft(f, moment(f, 0.3)) - end_ft
    assert ended.data["loss_ft"] == pytest.approx(loss, abs=300.0)


@pytest.mark.parametrize("manoeuvre", ["aileron rolls", "barrel roll", "loop", "rolling dive", "spiral", "steep turn"])
def test_what_is_no_spin_is_none_when_joined_late_either(manoeuvre: str) -> None:
    """Joined at every second of it, by rates alone, where down is taken from the rotation."""
    f = kept("jsbsim", manoeuvre, 0, library)
    whole = required_five(pristine(f, 25.0))
    for from_s in np.arange(0.0, float(whole.seconds[-1]) - 3.0, 2.0):
        events = Detector(sortie="t", plan=plan_of(f)).feed(block_of(whole.keep(whole.seconds >= from_s)))
        assert not of_kind(events, Kind.SPIN_STARTED), from_s
