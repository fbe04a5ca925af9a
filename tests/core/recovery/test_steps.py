"""When the decision step works in full: by the frames' own time, at news, and at every frame near a floor."""

import numpy as np
import pytest
from tests.core.recovery.bench import Bench
from tests.core.recovery.generator import make_flight, run

from spinfloor.core.recovery.decision import STEP_NS

FT = 0.3048


@pytest.mark.parametrize(
    ("hz", "a_second"), [(10.0, 10.0), (20.0, 20.0), (50.0, 50.0 / 3.0), (100.0, 20.0), (200.0, 200.0 / 9.0)]
)
def test_about_twenty_times_a_second(bench: Bench, hz: float, a_second: float) -> None:
    bench.cards["turns"] = 500.0
    steps = set()
    for _ in range(round(6.0 * hz)):
        bench.step(1.0 / hz)
        steps.add(int(bench.decision["decided_ns"][0]))
    assert len(steps) / 6.0 == pytest.approx(a_second, abs=0.6)
    assert min(np.diff(sorted(steps))) >= STEP_NS


def test_frames_between_change_nothing(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    bench.step(0.05)
    before = bench.decision.tobytes()
    for _ in range(4):
        bench.step(0.01, altitude_m=float(bench.motion["altitude_m"][0]) - 0.5, turns=0.5)
        assert bench.decision.tobytes() == before
    bench.step(0.01)
    assert bench.decision.tobytes() != before


def test_news_is_taken_in_at_its_own_frame(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    bench.step(0.05)
    bench.step(
        0.01, recovery_started=1, recovery_started_now=1, recovery_start_turns=0.4, recovery_start_altitude_m=6_000.0
    )
    assert int(bench.decision["prediction"][0]) == 1
    assert int(bench.decision["decided_ns"][0]) == int(bench.motion["time_ns"][0]) - 10_000_000


@pytest.mark.parametrize("offset_ms", [3, 17, 31, 44])
def test_a_floor_is_never_passed_between_two_steps(bench: Bench, offset_ms: int) -> None:
    """200 frames a second: the abandon call comes on the very frame that brings the floor within the lead."""
    bench.cards["turns"] = 500.0
    edge = (3_000.0 + 150.0 * 2.5) * FT
    bench.set(altitude_m=edge + 40.0)
    bench.step(offset_ms * 1e-3)
    for _ in range(400):
        height = float(bench.motion["altitude_m"][0]) - 150.0 * FT * 0.005
        words = [event["words"] for event in bench.step(0.005, altitude_m=height) if event["kind"] == "call"]
        assert ("abandon" in words) == (height <= edge)
        if height <= edge:
            break
    else:
        pytest.fail("the floor's reach was never entered")


@pytest.mark.parametrize("seed", range(6))
def test_a_repeated_frame_time_decides_nothing_twice(seed: int) -> None:
    """Every frame told twice gives the same calls: what counts is the time, not how often the step is asked."""
    flight = make_flight(seed)
    told = run(flight)
    pulses = [name for name in flight.motion.dtype.names or () if name.endswith("_now")]
    doubled = np.repeat(flight.motion, 2)
    for name in pulses:
        doubled[name][1::2] = 0
    flight.motion = doubled
    assert [call[1:] for call in run(flight).calls] == [call[1:] for call in told.calls]
