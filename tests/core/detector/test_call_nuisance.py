"""A caution that comes for nothing is muted: a coarse encoder without any fault makes no *data degraded*."""

import pytest
from tests.core.detector.flights import events_of, flight, of_kind

from spinfloor.core.events import Kind


@pytest.mark.parametrize(
    ("situation", "seed", "five"),
    [("again", 10, True), ("developed", 0, False), ("one turn", 12, False), ("flat", 3, True)],
)
def test_a_coarse_encoder_is_no_fault(situation: str, seed: int, five: bool) -> None:
    calls = of_kind(events_of(flight(situation, seed), "quantised", five=five), Kind.CALL)
    assert calls
    assert "data degraded" not in [call.data["reason_code"] for call in calls]
