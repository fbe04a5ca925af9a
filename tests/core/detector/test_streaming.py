"""The same events, bit for bit, however the stream is cut and wherever the detector is saved and restored."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.detector.flights import clean_block, flight, plan_of

from spinfloor.core.detector.detector import Detector
from spinfloor.core.detector.saving import SavedStateError
from spinfloor.core.events import Event

FLIGHT = flight("overcontrol", 1)
BLOCK = clean_block(FLIGHT, 25.0)


def whole() -> list[Event]:
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(BLOCK)


WHOLE = whole()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, len(BLOCK)), max_size=12), st.sets(st.integers(0, 12), max_size=4))
def test_cuts_and_restores(cuts: list[int], restores: set[int]) -> None:
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events: list[Event] = []
    edges = [0, *sorted(cuts), len(BLOCK)]
    for i, (a, b) in enumerate(itertools.pairwise(edges)):
        events += detector.feed(BLOCK.slice(a, b))
        if i in restores:
            detector = Detector.restore(detector.save())
    assert events == WHOLE


def test_frame_by_frame() -> None:
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events = [e for i in range(len(BLOCK)) for e in detector.feed(BLOCK.slice(i, i + 1))]
    assert events == WHOLE
    assert [e.sequence for e in events] == list(range(len(events)))


@settings(max_examples=40, deadline=None)
@given(st.binary(max_size=200))
def test_random_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(SavedStateError):
        Detector.restore(data)


def test_a_damaged_save_is_refused() -> None:
    data = bytearray(Detector(sortie="t", plan=plan_of(FLIGHT)).save())
    data[-5] ^= 1
    with pytest.raises(SavedStateError):
        Detector.restore(bytes(data))
