"""Printed rows of steady spins through the whole detector: signs, alpha, period, mode and loss per turn, in both modes."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.authorities.steady_spin_rows import LOSS_PER_TURN, MODE_CLASSES, SIGNS, STEADY_SPIN
from tests.core.detector.flights import block_of, of_kind, plan_of
from tests.core.detector.steady import steady_spin
from tests.truth.degrade import noise, pristine, required_five
from tests.truth.flight import Flight

from spinfloor.core.compiled import shared
from spinfloor.core.detector.detector import Detector
from spinfloor.core.detector.spin import _mode_of
from spinfloor.core.events import MODES, Event, Kind
from spinfloor.core.frames import FrameBlock

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
EVIDENCE = {False: "attitude and air data", True: "rates and altitude"}


def recorded(f: Flight, five: bool) -> FrameBlock:
    """A tenth of a usual recorder's noise: a channel that stands bit for bit in a spin is taken for stuck."""
    record = noise(pristine(f, 100.0), np.random.default_rng(5), 0.1)
    return block_of(required_five(record) if five else record)


def told(f: Flight, five: bool) -> list[Event]:
    return Detector(sortie="t", plan=plan_of(f)).feed(recorded(f, five))


def number(value: object) -> float:
    return float(str(value))


@BOTH
@pytest.mark.parametrize(("name", "p", "r", "orientation", "sense"), SIGNS)
def test_the_four_kinds_are_told_by_their_signs(
    name: str, p: int, r: int, orientation: int, sense: int, five: bool
) -> None:
    """In an inverted spin the heading runs against the way the crew feel it."""
    f = steady_spin(45.0, 3.0, yaw=r, upright=orientation > 0)
    last = {k: v[-1] for k, v in f.columns.items()}
    assert (np.sign(last["roll_rate_dps"]), np.sign(last["yaw_rate_dps"])) == (p, r)
    (started,) = of_kind(told(f, five), Kind.SPIN_STARTED)
    assert started.data["orientation"] == ("upright" if orientation > 0 else "inverted")
    assert started.data["direction"] == ("right" if r > 0 else "left")
    assert started.data["sense_from_above"] == ("clockwise" if sense > 0 else "anticlockwise")


@BOTH
@pytest.mark.parametrize(("alpha", "period", "p", "r"), STEADY_SPIN)
def test_alpha_and_period_of_each_row_come_back(alpha: float, period: float, p: float, r: float, five: bool) -> None:
    f = steady_spin(alpha, period, turns=7.0)
    last = {k: v[-1] for k, v in f.columns.items()}
    assert (last["roll_rate_dps"], last["yaw_rate_dps"]) == pytest.approx((p, r), abs=1e-3)
    detector = Detector(sortie="t", plan=plan_of(f))
    events = detector.feed(recorded(f, five))
    turns = of_kind(events, Kind.SPIN_TURN)
    assert [number(e.data["seconds"]) for e in turns[-3:]] == pytest.approx([period] * 3, abs=0.02)
    assert number(detector.snapshot()["alpha_deg"]) == pytest.approx(alpha, abs=1.0)
    assert number(detector.snapshot()["seconds_per_turn"]) == pytest.approx(period, abs=0.03)


@BOTH
@pytest.mark.parametrize(("descent_fps", "rate_dps", "loss_ft"), LOSS_PER_TURN)
def test_loss_per_turn_is_descent_times_period(descent_fps: float, rate_dps: float, loss_ft: float, five: bool) -> None:
    f = steady_spin(40.0, 360.0 / rate_dps, descent_fps=descent_fps, turns=6.0)
    turns = of_kind(told(f, five), Kind.SPIN_TURN)
    assert [number(e.data["loss_ft"]) for e in turns[-2:]] == pytest.approx([loss_ft] * 2, rel=0.01)
    assert all(number(e.data["loss_sd_ft"]) > 0.0 for e in turns)


def _mode(alpha: float, said: int) -> int:
    return int(_mode_of(alpha, said))


_compiled_mode: Any = shared(_mode)


@pytest.mark.parametrize(("alpha", "name"), MODE_CLASSES)
def test_classes_of_alpha_and_their_edges(alpha: float, name: str) -> None:
    assert MODES[_compiled_mode(np.radians(alpha), -1)].value == name


@pytest.mark.parametrize("edge", [0, 1, 2])
def test_a_class_is_left_three_degrees_past_its_edge(edge: int) -> None:
    """An alpha that swings about an edge does not flicker."""
    at = (30.0, 45.0, 65.0)[edge]
    low, high = edge, edge + 1
    assert [_compiled_mode(np.radians(at + d), low) for d in (-0.1, 2.9, 3.1)] == [low, low, high]
    assert [_compiled_mode(np.radians(at - d), high) for d in (-0.1, 2.9, 3.1)] == [high, high, low]


@BOTH
@pytest.mark.parametrize(("alpha", "name"), [(24.0, "steep"), (38.0, "moderately steep"), (55.0, "moderately flat"),
                                             (75.0, "flat")])  # fmt: skip
@pytest.mark.parametrize("upright", [True, False], ids=["upright", "inverted"])
def test_a_steady_spin_is_told_its_mode(alpha: float, name: str, upright: bool, five: bool) -> None:
    modes = of_kind(told(steady_spin(alpha, 2.4, upright=upright), five), Kind.SPIN_MODE)
    assert modes[-1].data["mode"] == name
    assert modes[-1].data["oscillatory"] is False
    assert number(modes[-1].data["seconds_per_turn"]) == pytest.approx(2.4, rel=0.15)


@BOTH
def test_every_event_of_a_spin_says_what_it_rested_on(five: bool) -> None:
    events = told(steady_spin(38.0, 2.4), five)
    about_telemetry = {Kind.QUALITY, Kind.LINK, Kind.MARK}
    assert all(("evidence" in e.data) != (e.kind in about_telemetry) for e in events)
    kinds = {Kind.SPIN_STARTED, Kind.SPIN_TURN, Kind.SPIN_MODE, Kind.CALL}
    assert {e.data["evidence"] for e in events if e.kind in kinds} == {EVIDENCE[five]}
