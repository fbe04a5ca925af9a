"""A `controls_applied` that was pressed at the wrong moment does not silence *recover*."""

import pytest
from tests.core.detector.flights import clean_block, flight, plan_of

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind, Mark
from spinfloor.core.frames import FrameBlock

TURNS = 4.0


def _events(at_s: float, *, five: bool = False) -> list[Event]:
    """Events of a developed spin with four turns planned of eight flown, the mark pressed `at_s`."""
    f = flight("developed", 0)
    plan = plan_of(f)
    block = clean_block(f)
    if five:
        block = FrameBlock(block.time_ns, block.values.copy())
        block.values[:, 5:] = float("nan")
    detector = Detector(
        sortie="t", plan=plan.model_copy(update={"cards": [plan.cards[0].model_copy(update={"turns": TURNS})]})
    )
    mark_ns = int(block.time_ns[0]) + int(at_s * 1e9)
    cut = int((block.time_ns < mark_ns).sum())
    events = detector.feed(FrameBlock(block.time_ns[:cut], block.values[:cut]))
    detector.mark(Mark(kind="controls_applied", time_ns=mark_ns, by="test conductor", data={}))
    events += detector.feed(FrameBlock(block.time_ns[cut:], block.values[cut:]))
    return events


def _recover_s(events: list[Event], first_ns: int) -> list[float]:
    return [(e.detected_ns - first_ns) * 1e-9 for e in events if e.kind is Kind.CALL and e.data["call"] == "recover"]


@pytest.mark.parametrize("five", [False, True])
def test_a_mark_from_before_the_spin_is_not_of_it(five: bool) -> None:
    f = flight("developed", 0)
    events = _events(f.truth["spins"][0]["start_s"] - 3.0, five=five)
    assert _recover_s(events, int(f.time_ns[0]))


@pytest.mark.parametrize("five", [False, True])
def test_a_mark_too_early_silences_no_more_than_a_few_seconds(five: bool) -> None:
    """Pressed eight seconds before the controls; with their telemetry it is seen within three, by rates alone after two turns."""
    f = flight("developed", 0)
    controls_s = f.truth["spins"][0]["recovery_controls_s"]
    events = _events(controls_s - 8.0, five=five)
    said = [t for t in _recover_s(events, int(f.time_ns[0])) if t > controls_s - 8.0]
    assert said
    assert said[0] < controls_s - (2.0 if five else 5.0)
