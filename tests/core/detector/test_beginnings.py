"""Where spins begin, when two beginnings can be told: the interval of turns holds both."""

from __future__ import annotations

import pytest
from tests.core.detector.flights import events_of, flight, of_kind
from tests.truth.keep import kept
from tests.truth.rotary import flights as rotary

from spinfloor.core.events import Kind

NORMAL_95 = 1.959964


@pytest.mark.parametrize(
    ("situation", "seed"), [("developed", 12), ("one turn", 28), ("inverted", 8), ("three spins", 9001)]
)
def test_the_interval_holds_both_beginnings(situation: str, seed: int) -> None:
    """Rotation that nearly stops before it goes on: the truth counts from after the dip, the chain from before it."""
    f = flight(situation, seed)
    ended = of_kind(events_of(f, "none, 100 Hz"), Kind.SPIN_ENDED)
    assert len(ended) == len(f.truth["spins"])
    errors = []
    for event, true in zip(ended, f.truth["spins"], strict=True):
        error = float(str(event.data["turns"])) - true["turns"]["start_to_spinend"]["about_flight_path"]
        errors.append(abs(error))
        assert abs(error) <= NORMAL_95 * float(str(event.data["turns_sd"]))
    assert max(errors) > 0.1  # else the flight would not be one of them


def test_the_interval_holds_a_beginning_that_hardly_passed_the_threshold() -> None:
    """The rotation about the vertical peaks at 21 deg/s, falls away and comes back: a lagging gyro moves the beginning."""
    f = flight("half turn", 32)
    (ended,) = of_kind(events_of(f, "lag"), Kind.SPIN_ENDED)
    error = float(str(ended.data["turns"])) - f.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"]
    assert 0.046 < abs(error) <= NORMAL_95 * float(str(ended.data["turns_sd"]))


def test_a_spin_with_one_beginning_keeps_its_narrow_interval() -> None:
    f = flight("developed", 8)
    (ended,) = of_kind(events_of(f, "none, 100 Hz"), Kind.SPIN_ENDED)
    assert float(str(ended.data["turns_sd"])) < 0.06


def test_a_minute_of_mush_is_not_the_beginning_of_what_comes_after() -> None:
    """Deep in the stall it yaws on at 12 deg/s for a minute, then lets go: by rates that was a spin of 56 seconds."""
    f = kept(rotary.SOURCE, "hands off", 37002, rotary.build)
    assert not f.truth["spins"]
    assert not of_kind(events_of(f, "none, 100 Hz", five=True), Kind.SPIN_STARTED)
