"""*Controls applied* pressed by a slip: before the spin, or while hands that can be seen stand still."""

import pytest
from tests.core.detector.flights import clean_block, flight, of_kind, plan_of
from tests.truth.flight import START_NS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind, Mark

SPIN = flight("developed", 0).truth["spins"][0]


def with_mark(at_s: float) -> list[Event]:
    """The developed spin with four turns planned and one mark."""
    f = flight("developed", 0)
    plan = plan_of(f)
    plan = plan.model_copy(update={"cards": [plan.cards[0].model_copy(update={"turns": 4.0})]})
    detector = Detector(sortie="t", plan=plan)
    block = clean_block(f, 100.0)
    cut = round(at_s * 100.0)
    events = detector.feed(block.slice(0, cut))
    events += detector.mark(Mark("controls_applied", int(block.time_ns[cut]), "engineer", {}))
    return events + detector.feed(block.slice(cut, len(block)))


def seconds(event: Event) -> float:
    return (event.time_ns - START_NS) * 1e-9


@pytest.mark.parametrize(("at_s", "told"), [(SPIN["start_s"] - 3.0, 1), (SPIN["recovery_controls_s"] - 6.0, 2)])
def test_a_slip_does_not_silence_recover(at_s: float, told: int) -> None:
    """The recovery is told from the hands, and taken to be what it was; in between *recover* is called."""
    events = with_mark(at_s)
    started = of_kind(events, Kind.RECOVERY_STARTED)
    assert len(started) == told
    assert started[-1].data["source"] == "controls"
    assert seconds(started[-1]) == pytest.approx(SPIN["recovery_controls_s"], abs=0.15)
    recover = [seconds(e) for e in of_kind(events, Kind.CALL) if e.data["call"] == "recover"]
    assert [t for t in recover if SPIN["recovery_controls_s"] - 3.0 < t < SPIN["recovery_controls_s"]]
