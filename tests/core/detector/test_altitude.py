"""Altitude in a spin: the instrument's lag taken off, errors that repeat with the turn cancelled out of its loss."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import block_of, events_of, flight, of_kind, plan_of
from tests.core.detector.steady import steady_spin
from tests.truth.degrade import lagged, pitot_static, pristine
from tests.truth.flight import START_NS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
DESCENT_FPS = 150.0


def number(value: object) -> float:
    return float(str(value))


def missed_ft(event: Event, time_s: np.ndarray, height_ft: np.ndarray) -> float:
    """Told altitude less the true one at the told time; positive is the unsafe side."""
    return number(event.data["altitude_ft"]) - float(np.interp((event.time_ns - START_NS) * 1e-9, time_s, height_ft))


@pytest.mark.parametrize("stated_s", [0.0, 1.5])
def test_a_lagging_altimeter_reads_high_by_lag_times_sink_unless_the_plan_states_it(stated_s: float) -> None:
    """1.5 s of lag at 150 ft/s is 225 ft: a steady sink, so that nothing else is in it."""
    f = steady_spin(40.0, 2.4, descent_fps=DESCENT_FPS, turns=8.0)
    record = lagged(pristine(f, 50.0), np.random.default_rng(0))
    events = Detector(sortie="t", plan=plan_of(f, altimeter_lag_s=stated_s)).feed(block_of(record))
    last = of_kind(events, Kind.SPIN_TURN)[-1]
    expected = 0.0 if stated_s else record.altimeter_lag_s * DESCENT_FPS
    assert missed_ft(last, f.time_s, f.columns["pressure_altitude_ft"]) == pytest.approx(expected, abs=6.0)


@BOTH
@pytest.mark.parametrize(("situation", "seed"), [("developed", 8), ("flat", 2), ("power on", 1)])
def test_an_error_once_per_turn_is_not_in_the_loss_of_a_turn(situation: str, seed: int, five: bool) -> None:
    """25 ft either way, in phase with the turn; half a turn's difference would have twice that in it."""
    f = flight(situation, seed)
    clean, wavy = (
        [number(e.data["loss_ft"]) for e in of_kind(events_of(f, fault, five=five), Kind.SPIN_TURN)]
        for fault in ("none, 100 Hz", "pitot-static")
    )
    assert len(wavy) == len(clean) >= 3
    np.testing.assert_allclose(wavy[1:], clean[1:], atol=16.0)


def test_an_error_once_per_turn_is_not_in_the_sink() -> None:
    """Over half a turn 25 ft either way would be 40 ft/s of sink that is not there."""
    f = steady_spin(40.0, 2.4, descent_fps=DESCENT_FPS, turns=8.0)
    block = block_of(pitot_static(pristine(f, 50.0), np.random.default_rng(0)))
    detector = Detector(sortie="t", plan=plan_of(f))
    start = len(block) - 6 * 50
    detector.feed(block.slice(0, start))
    told = []
    for i in range(start, len(block), 10):
        detector.feed(block.slice(i, i + 10))
        told.append(number(detector.snapshot()["sink_fpm"]) / 60.0)
    assert len(told) > 25
    np.testing.assert_allclose(told, DESCENT_FPS, atol=6.0)
