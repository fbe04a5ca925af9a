"""Whatever a recorder sends, the detector goes on: events and snapshot stay plain JSON, numbered without a hole."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.detector.flights import clean_block, flight, of_kind, plan_of

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind, Mark
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("developed", 8)
CLEAN = clean_block(FLIGHT, 25.0)
JUNK = (np.inf, -np.inf, np.nan, 0.0, -0.0, 1e308, -1e308, 1e-308, 5e-324, 1.0, -1.0, 1e6, 2**63)
S = 1_000_000_000


def plain(detector: Detector, events: list[Event]) -> None:
    for i, event in enumerate(events):
        assert event.sequence == i
        json.dumps(event.as_record(), allow_nan=False)
    json.dumps(detector.snapshot(), allow_nan=False)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.floats(0.0, 0.5), st.sampled_from(["values", "times", "both"]))
def test_junk_among_the_frames_of_a_spin(seed: int, share: float, where: str) -> None:
    """Any part of the values, and of the time stamps, replaced by nonsense; ticks and marks in between."""
    rng = np.random.default_rng(seed)
    values, times = CLEAN.values.copy(), CLEAN.time_ns.copy()
    if where != "times":
        bad = rng.random(values.shape) < share
        values[bad] = rng.choice(JUNK, bad.sum())
    if where != "values":
        bad_times = rng.random(len(times)) < share
        times[bad_times] += rng.integers(-(10**13), 10**13, bad_times.sum())
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events: list[Event] = []
    for i in range(0, len(times), 97):
        events += detector.feed(FrameBlock(times[i : i + 97], values[i : i + 97]))
        if rng.random() < 0.2:
            events += detector.tick(int(times[min(i + 96, len(times) - 1)]) + int(rng.integers(0, 3 * S)))
        if rng.random() < 0.1:
            events += detector.mark(Mark("controls_applied", int(times[i]), "engineer", {}))
    plain(detector, events)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 400))
def test_nothing_but_junk(seed: int, frames: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.choice(JUNK, (frames, CHANNEL_COUNT))
    times = np.cumsum(rng.integers(0, S, frames)) + int(rng.integers(0, 2**60))
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    plain(detector, detector.feed(FrameBlock(times, values)))


def test_after_a_minute_of_junk_a_spin_is_told_as_ever() -> None:
    """What was refused leaves nothing behind."""
    rng = np.random.default_rng(5)
    step = int(np.median(np.diff(CLEAN.time_ns)))
    n = 60 * 25
    before = CLEAN.time_ns[0] - step * np.arange(n, 0, -1)
    values = np.concatenate([rng.choice(JUNK, (n, CHANNEL_COUNT)), CLEAN.values])
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events = detector.feed(FrameBlock(np.concatenate([before, CLEAN.time_ns]), values))
    inside = [e for e in events if e.time_ns >= CLEAN.time_ns[0]]
    (ended,) = of_kind(inside, Kind.SPIN_ENDED)
    turns = FLIGHT.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(float(str(ended.data["turns"])) - turns) < 0.15
