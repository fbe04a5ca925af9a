"""Straight flight as the reference of the carried vertical: quick after a spin, slow once it knows, and a climb is no bias."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from spinfloor.core.compiled import shared
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.rates import level_down
from spinfloor.core.detector.states import STATE_DTYPE

STEP_S = 0.01
DEG = math.pi / 180.0


def _straight(state: Any, steps: int, step_s: float) -> None:
    for _ in range(steps):
        level_down(state[0], step_s)


_fly_straight: Any = shared(_straight)


def _pitch_after(seconds: float, *, pitch_deg: float, nose_sd_deg: float, climb_mps: float = 0.0) -> float:
    """Carried pitch [deg] after wings-level flight, begun with this pitch and uncertainty."""
    state = np.zeros(1, STATE_DTYPE)
    state["dx"], state["dz"] = -math.sin(pitch_deg * DEG), math.cos(pitch_deg * DEG)
    state["nose_sd"], state["down_sd"], state["alt_rate"] = nose_sd_deg * DEG, 0.15, climb_mps
    _fly_straight(state, round(seconds / STEP_S), STEP_S)
    return float(-math.asin(float(state["dx"][0])) / DEG)


def test_a_pitch_left_wrong_by_a_spin_is_near_the_usual_one_after_three_seconds() -> None:
    usual = tu.CRUISE_PITCH_RAD / DEG
    after = _pitch_after(3.0, pitch_deg=-16.0, nose_sd_deg=20.0)
    assert after == pytest.approx(usual, abs=4.0)


def test_a_pitch_that_is_well_known_gives_way_slowly() -> None:
    """A minute's glide at 3 deg is not taken for a slow approach at once."""
    assert _pitch_after(3.0, pitch_deg=3.0, nose_sd_deg=3.0) == pytest.approx(3.0, abs=1.5)


def test_in_a_climb_the_nose_is_expected_higher_by_the_path_angle() -> None:
    level = _pitch_after(120.0, pitch_deg=0.0, nose_sd_deg=20.0)
    climbing = _pitch_after(120.0, pitch_deg=0.0, nose_sd_deg=20.0, climb_mps=8.0)
    descending = _pitch_after(120.0, pitch_deg=0.0, nose_sd_deg=20.0, climb_mps=-8.0)
    path_deg = math.asin(8.0 / tu.CRUISE_SPEED_MPS) / DEG
    assert climbing - level == pytest.approx(path_deg, abs=0.7)
    assert level - descending == pytest.approx(path_deg, abs=0.7)


def test_the_filter_goes_as_one_over_time_like_the_mean_of_independent_looks() -> None:
    """Derived: with u constant and no floor, the error falls as (1 + t s0^2 / (T u^2))^-1 (docs/method/attitude.md)."""
    start_deg, s0 = -20.0, 15.0 * DEG
    u2 = tu.CRUISE_PITCH_SD_RAD**2
    for seconds in (1.0, 2.0, 4.0):
        expected = 1.0 / (1.0 + seconds * s0**2 / (tu.LEVEL_S * u2))
        target = -math.sin(tu.CRUISE_PITCH_RAD)
        left = -math.sin(_pitch_after(seconds, pitch_deg=start_deg, nose_sd_deg=15.0) * DEG) - target
        assert left / (-math.sin(start_deg * DEG) - target) == pytest.approx(expected, rel=0.05)
