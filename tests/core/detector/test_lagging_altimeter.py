"""An altimeter that lags by what the plan says: the altitude told in a spin that still gathers speed, against the simulator's."""

import numpy as np
import pytest
from tests.core.detector.flights import events_of, flight, of_kind
from tests.truth.flight import START_NS

from spinfloor.core.events import Event, Kind


def error_ft(situation: str, seed: int, turn: Event) -> float:
    f = flight(situation, seed)
    truth = float(np.interp((turn.time_ns - START_NS) * 1e-9, f.time_s, f.columns["pressure_altitude_ft"]))
    return number(turn, "altitude_ft") - truth


def number(event: Event, field: str) -> float:
    value = event.data[field]
    assert isinstance(value, float)
    return value


@pytest.mark.parametrize("five", [False, True])
@pytest.mark.parametrize(("situation", "seed"), [("developed", 0), ("developed", 1), ("flat", 2), ("inverted", 1)])
def test_is_not_told_higher_than_it_is_while_the_sink_builds_up(situation: str, seed: int, five: bool) -> None:
    """The first turn was told 100 ft too high, outside its own interval: the mean sink is half its span old."""
    turns = of_kind(events_of(flight(situation, seed), "lag", five=five), Kind.SPIN_TURN)
    for turn in turns[:3]:
        error = error_ft(situation, seed, turn)
        assert -60.0 < error < 40.0
        assert abs(error) < 1.96 * number(turn, "altitude_sd_ft")
