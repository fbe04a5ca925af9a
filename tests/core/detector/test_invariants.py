"""Mirror, time shift and sample rate: what must change sign does, what must not change does not."""

import pytest
from tests.core.detector.flights import clean_block, flight, mirrored, of_kind, plan_of

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("three spins", 0)
OTHER = {"right": "left", "left": "right", "clockwise": "anticlockwise", "anticlockwise": "clockwise"}


def events(block: FrameBlock) -> list[Event]:
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block)


def test_mirror() -> None:
    plain, mirror = events(clean_block(FLIGHT)), events(mirrored(clean_block(FLIGHT)))
    assert [(e.kind, e.time_ns) for e in plain] == [(e.kind, e.time_ns) for e in mirror]
    starts = zip(of_kind(plain, Kind.SPIN_STARTED), of_kind(mirror, Kind.SPIN_STARTED), strict=True)
    for a, b in starts:
        assert b.data["direction"] == OTHER[str(a.data["direction"])]
        assert b.data["sense_from_above"] == OTHER[str(a.data["sense_from_above"])]
        assert b.data["orientation"] == a.data["orientation"]


def test_time_shift() -> None:
    block, by = clean_block(FLIGHT), 86_400_000_000_000
    later = events(FrameBlock(block.time_ns + by, block.values))
    assert [(e.kind, e.time_ns + by, e.data) for e in of_kind(events(block), Kind.SPIN_TURN)] == [
        (e.kind, e.time_ns, e.data) for e in of_kind(later, Kind.SPIN_TURN)
    ]


@pytest.mark.parametrize("rate", [10.0, 25.0, 100.0, 200.0])
def test_sample_rate(rate: float) -> None:
    reference = of_kind(events(clean_block(FLIGHT, 50.0)), Kind.SPIN_ENDED)
    got = of_kind(events(clean_block(FLIGHT, rate)), Kind.SPIN_ENDED)
    assert len(got) == len(reference)
    for a, b in zip(got, reference, strict=True):
        assert abs(a.time_ns - b.time_ns) < 0.15e9
        assert abs(float(str(a.data["turns"])) - float(str(b.data["turns"]))) < 0.08
