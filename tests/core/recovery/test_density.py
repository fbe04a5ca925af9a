"""Losses carried from one height to another: against the printed atmosphere and against flying it there."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from tests.authorities.atmosphere_rows import ISA
from tests.core.recovery.bench import Bench

from spinfloor.core.recovery.density import density_ratio
from spinfloor.core.recovery.pull_out import pull_out_loss_m

FT = 0.3048


@pytest.mark.parametrize(("altitude_ft", "density"), [(row[0], row[3]) for row in ISA])
def test_printed_rows(altitude_ft: float, density: float) -> None:
    reference = next(row[3] for row in ISA if row[0] == 10_000)
    assert density_ratio(altitude_ft * FT) == pytest.approx(density / reference, abs=2e-5)  # five printed digits


def test_not_known_is_the_reference() -> None:
    assert density_ratio(math.nan) == 1.0


@given(st.floats(40.0, 150.0), st.floats(1.5, 6.0), st.floats(0.2, math.pi / 2), st.floats(-300.0, 15_000.0))
def test_the_closed_form_scales_so(speed_mps: float, n: float, angle: float, altitude_m: float) -> None:
    """The same equivalent airspeed at another height: true speed over sqrt(density), loss over density."""
    there = speed_mps / math.sqrt(density_ratio(altitude_m))
    here = pull_out_loss_m(speed_mps, n, angle)
    assert pull_out_loss_m(there, n, angle) == pytest.approx(here / density_ratio(altitude_m), rel=1e-9)


def _stall_limited_loss_m(ratio: float, n: float = 2.7, stall_mps: float = 35.0, v0_mps: float = 40.0) -> float:
    """Straight down from a slow speed, pulling what the wing gives up to n: no drag, density constant on the way."""
    stall = stall_mps / math.sqrt(ratio)

    def rates(_t: float, y: list[float]) -> list[float]:
        v, gamma, _ = y
        load = min(n, (v / stall) ** 2)
        return [9.80665 * math.sin(gamma), -9.80665 * (load - math.cos(gamma)) / v, v * math.sin(gamma)]

    def level(_t: float, y: list[float]) -> float:
        return y[1]

    level.terminal = True  # type: ignore[attr-defined]  # how scipy is told to stop there
    start = [v0_mps / math.sqrt(ratio), math.pi / 2, 0.0]
    done = solve_ivp(rates, (0.0, 200.0), start, method="DOP853", events=level, rtol=1e-9, atol=1e-9)
    return float(done.y_events[0][0][2])


@pytest.mark.parametrize("altitude_ft", [0.0, 20_000.0, 35_000.0])
def test_a_wing_limited_pull_out_scales_so_too(altitude_ft: float) -> None:
    ratio = density_ratio(altitude_ft * FT)
    assert _stall_limited_loss_m(ratio) == pytest.approx(_stall_limited_loss_m(1.0) / ratio, rel=1e-6)


@pytest.mark.parametrize("altitude_ft", [15_000.0, 30_000.0])
def test_the_live_estimate_scales_so(bench: Bench, altitude_ft: float) -> None:
    bench.cards["turns"] = 500.0
    lost = []
    for height in (10_000.0, altitude_ft):
        bench.step(0.05, altitude_m=height * FT)
        lost.append(float(bench.decision["pull_out_left_m"][0]))
    assert lost[1] / lost[0] == pytest.approx(1.0 / density_ratio(altitude_ft * FT), rel=1e-9)


def test_what_was_learnt_high_is_believed_low(bench: Bench) -> None:
    """Twenty pull-outs at 30,000 ft: at 10,000 ft the loss expected is theirs times the ratio of densities."""
    bench.cards["turns"] = 500.0
    ratio = density_ratio(30_000 * FT)
    for _ in range(20):
        bench.set(altitude_m=30_000 * FT, recovery_started=0, in_spin=1, turns=0.4)
        bench.set(spin_ordinal=int(bench.motion["spin_ordinal"][0]) + 1).step(0.05)
        bench.step(
            0.05, recovery_started=1, recovery_started_now=1, recovery_start_turns=0.4,
            recovery_start_altitude_m=30_000 * FT,
        )  # fmt: skip
        bench.step(0.05, turns=1.4, altitude_m=29_000 * FT)
        bench.step(0.05, in_spin=0, spin_ended_now=1, spin_end_altitude_m=29_000 * FT)
        bench.step(0.05, level_now=1, level_altitude_m=26_500 * FT)
    raw = [d["pull_out_loss_ft"] for _, kind, d in bench.said if kind == "recovered"]
    bench.set(in_spin=1, recovery_started=0, spin_ordinal=99, altitude_m=10_000 * FT).step(0.05)
    expected = float(np.mean(np.array(raw, dtype=float))) * FT * ratio
    assert float(bench.decision["pull_out_left_m"][0]) == pytest.approx(expected, rel=0.03)
