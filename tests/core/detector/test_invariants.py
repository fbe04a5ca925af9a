"""Mirror, time shift, units and sample rate, by hypothesis: what must change sign does, what must not change does not.

The flight, the mode and the amounts are hypothesis's to choose. The mirror is exact, to the last digit, because nothing
in the detector may know left from right; a shift is exact because it knows durations only.
"""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.detector.flights import block_of, flight, mirrored, of_kind, plan_of
from tests.truth.degrade import Record, noise, pristine, required_five

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Json, Kind
from spinfloor.core.frames import FrameBlock

FLIGHTS = (
    ("developed", 0), ("developed", 8), ("flat", 2), ("inverted", 3), ("oscillatory", 1), ("overcontrol", 1),
    ("reversal", 0), ("again", 0), ("three spins", 0), ("falling leaf", 0), ("snap roll", 2), ("spiral", 0),
)  # fmt: skip
OTHER: dict[Json, Json] = {
    "right": "left",
    "left": "right",
    "clockwise": "anticlockwise",
    "anticlockwise": "clockwise",
}
NORMAL_95 = 1.959964
flights = st.sampled_from(FLIGHTS)
modes = st.booleans()


def record_of(situation: str, seed: int, five: bool, noise_seed: int, rate_hz: float = 50.0) -> Record:
    record = noise(pristine(flight(situation, seed), rate_hz), np.random.default_rng(noise_seed))
    return required_five(record) if five else record


def events(situation: str, seed: int, block: FrameBlock, direction: str = "right") -> list[Event]:
    plan = plan_of(flight(situation, seed))
    cards = [card.model_copy(update={"direction": direction}) for card in plan.cards]
    return Detector(sortie="t", plan=plan.model_copy(update={"cards": cards})).feed(block)


def swapped(data: Json) -> Json:
    """The words of left and right, exchanged."""
    if isinstance(data, dict):
        return {k: swapped(v) for k, v in data.items()}
    return OTHER.get(data, data) if isinstance(data, str) else data


@settings(max_examples=15, deadline=None)
@given(flights, modes, st.integers(0, 2**31))
def test_mirror(which: tuple[str, int], five: bool, noise_seed: int) -> None:
    """Every event with every number in it, left for right, the card's direction with them; calls name none."""
    block = block_of(record_of(*which, five, noise_seed))
    plain, mirror = events(*which, block), events(*which, mirrored(block), "left")
    assert [(e.kind, e.time_ns, e.detected_ns) for e in plain] == [(e.kind, e.time_ns, e.detected_ns) for e in mirror]
    for a, b in zip(plain, mirror, strict=True):
        assert swapped(dict(a.data)) == dict(b.data)


@settings(max_examples=15, deadline=None)
@given(flights, modes, st.integers(-(10**17), 10**17))
def test_time_shift(which: tuple[str, int], five: bool, by: int) -> None:
    """Three years either way, to the nanosecond."""
    block = block_of(record_of(*which, five, 0))
    plain = events(*which, block)
    later = events(*which, FrameBlock(block.time_ns + by, block.values))
    shifted = [(e.kind, e.time_ns + by, e.detected_ns + by, _moved(dict(e.data), by)) for e in plain]
    assert [(e.kind, e.time_ns, e.detected_ns, dict(e.data)) for e in later] == shifted


def _moved(data: dict[str, Json], by: int) -> dict[str, Json]:
    return {k: v + by if k.endswith("_ns") and isinstance(v, int) else v for k, v in data.items()}


@settings(max_examples=25, deadline=None)
@given(flights, modes, st.sampled_from([10.0, 20.0, 25.0, 40.0, 50.0, 100.0, 200.0]), st.integers(0, 9))
def test_sample_rate(which: tuple[str, int], five: bool, rate_hz: float, first: int) -> None:
    """The same spins, ends and turns at any rate and any phase of the sampling, against 100 Hz.

    Where a spin has two beginnings, 10 Hz may take the other one: the stated interval holds both.
    """
    f = flight(*which)
    record = pristine(f, 200.0)
    step = round(200.0 / rate_hz)
    thinned = record.keep(np.arange(min(first, step - 1), len(record.time_ns), step))
    reference, got = (
        of_kind(events(*which, block_of(required_five(r) if five else r)), Kind.SPIN_ENDED)
        for r in (pristine(f, 100.0), thinned)
    )
    assert len(got) == len(reference)
    for a, b in zip(got, reference, strict=True):
        assert abs(a.time_ns - b.time_ns) < (0.4e9 if five else 0.15e9)
        apart = float(str(a.data["turns"])) - float(str(b.data["turns"]))
        stated = NORMAL_95 * float(str(b.data["turns_sd"]))
        assert abs(apart) < (0.12 if five else max(0.08, stated))


MOTION = {Kind.PHASE, Kind.SPIN_STARTED, Kind.SPIN_TURN, Kind.SPIN_MODE, Kind.SPIN_ENDED, Kind.RECOVERED, Kind.QUALITY}


@settings(max_examples=15, deadline=None)
@given(flights, modes, st.floats(0.0, 4.0), st.integers(0, 2**31))
def test_ticks_carry_on_and_change_nothing_of_what_frames_told(
    which: tuple[str, int], five: bool, gap_s: float, seed: int
) -> None:
    """The live run has ticks where frames were late or lost, a rerun of the recording has none: the same spins, to the digit."""
    record = record_of(*which, five, 0)
    rng = np.random.default_rng(seed)
    from_s = rng.uniform(5.0, 20.0)
    block = block_of(record.keep((record.seconds < from_s) | (record.seconds >= from_s + gap_s)))
    detector = Detector(sortie="t", plan=plan_of(flight(*which)))
    ticked: list[Event] = []
    for i in range(0, len(block), 7):
        ticked += detector.feed(block.slice(i, i + 7))
        last, following = int(block.time_ns[min(i + 6, len(block) - 1)]), int(block.time_ns[min(i + 7, len(block) - 1)])
        for t in range(last + int(rng.integers(1, 100_000_000)), following, 100_000_000):
            ticked += detector.tick(t)
    plain = [(e.kind, e.time_ns, e.detected_ns, dict(e.data)) for e in events(*which, block) if e.kind in MOTION]
    assert [(e.kind, e.time_ns, e.detected_ns, dict(e.data)) for e in ticked if e.kind in MOTION] == plain
