"""Phases as a story: told in order, whole, and named for what is flown; figures against the simulator's truth."""

from itertools import pairwise

import pytest
from tests.core.detector.flights import events_of, flight, of_kind
from tests.truth.keep import kept
from tests.truth.kinematic import build as kinematic

from spinfloor.core.events import Event, Kind

SPINS = [("developed", 0), ("flat", 2), ("inverted", 3), ("overcontrol", 0), ("reversal", 4), ("three spins", 0)]
MODES = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])


def phases(events: list[Event]) -> list[Event]:
    return of_kind(events, Kind.PHASE)


def seconds_in(events: list[Event], phase: str, end_ns: int) -> float:
    story = phases(events)
    until = [*(e.time_ns for e in story[1:]), end_ns]
    return sum((b - e.time_ns) * 1e-9 for e, b in zip(story, until, strict=True) if e.data["to"] == phase)


@MODES
@pytest.mark.parametrize(("situation", "seed"), SPINS)
def test_each_follows_the_one_before_in_time_and_name(situation: str, seed: int, five: bool) -> None:
    story = phases(events_of(flight(situation, seed), "none, 100 Hz", five=five))
    assert len(story) > 4
    for before, after in pairwise(story):
        assert after.time_ns >= before.time_ns
        assert after.data["from"] == before.data["to"]


@MODES
@pytest.mark.parametrize(("situation", "seed"), SPINS)
def test_every_recovery_is_a_phase_and_ends_in_the_dive(situation: str, seed: int, five: bool) -> None:
    """Inferred ones too, though they are known only with the end."""
    events = events_of(flight(situation, seed), "none, 100 Hz", five=five)
    story = phases(events)
    ends = of_kind(events, Kind.SPIN_ENDED)
    assert ends
    for end in ends:
        at = next(i for i, e in enumerate(story) if e.data["to"] == "dive" and e.time_ns == end.time_ns)
        assert story[at].data["from"] == "recovering"


@MODES
def test_flight_begins_where_the_aircraft_is_level(five: bool) -> None:
    events = events_of(flight("developed", 0), "none, 100 Hz", five=five)
    (level,) = of_kind(events, Kind.RECOVERED)
    assert any(e.data["to"] == "flight" and e.time_ns == level.time_ns for e in phases(events))


@pytest.mark.parametrize(("situation", "seed"), [("developed", 0), ("developed", 6), ("three spins", 0)])
def test_by_rates_the_yaw_of_a_pull_out_is_no_departure(situation: str, seed: int) -> None:
    """It was told as one up to five times in a dive."""
    names = [e.data["to"] for e in phases(events_of(flight(situation, seed), "none, 100 Hz", five=True))]
    assert "dive" in names
    assert ("dive", "departure") not in pairwise(names)


@MODES
@pytest.mark.parametrize("seed", [0, 2])
def test_a_spiral_is_told(seed: int, five: bool) -> None:
    f = kept("kinematic", "spiral dive", seed, kinematic)
    events = events_of(f, "none, 100 Hz", five=five)
    end_ns = int(f.time_ns[-1])
    assert seconds_in(events, "spiral", end_ns) > 14.0
    assert seconds_in(events, "departure", end_ns) < 5.0


@MODES
@pytest.mark.parametrize("situation", ["aileron rolls", "vertical down rolls"])
def test_rolls_are_no_spiral(situation: str, five: bool) -> None:
    f = flight(situation, 0)
    events = events_of(f, "none, 100 Hz", five=five)
    end_ns = int(f.time_ns[-1])
    assert seconds_in(events, "rolling", end_ns) > 1.0
    assert seconds_in(events, "spiral", end_ns) == 0.0
