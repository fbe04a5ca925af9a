"""A value that sits on a threshold at 100 frames a second: each call comes once and then keeps its own time."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.recovery.bench import Bench
from tests.core.recovery.generator import Flight, level_records, make_plan, run, spin_records
from tests.core.recovery.generator import SpinShape as Shape

from spinfloor.core.recovery import reasons

FT = 0.3048
SECONDS, HZ = 12.0, 100.0


def _hover(bench: Bench, change: Callable[[float], dict[str, float]]) -> list[tuple[float, str]]:
    """Fields set anew at every frame from one normal draw; returns (time, words) of the calls."""
    rng = np.random.default_rng(8)
    for noise in rng.standard_normal(round(SECONDS * HZ)):
        bench.step(1.0 / HZ, **change(float(noise)))
    return [(t, str(data["words"])) for t, kind, data in bench.said if kind == "call"]


def _keeps_time(calls: list[tuple[float, str]], words: str, period: float = 2.0) -> None:
    times = [t for t, said in calls if said == words]
    assert len(times) >= 2
    np.testing.assert_array_less(period - 1e-9, np.diff(times))
    assert np.median(np.diff(times)) < period + 1.05  # nor does it go silent: it waits at most for a higher call


@pytest.mark.parametrize("wander_ft", [0.5, 5.0, 50.0])
def test_abandon_on_its_floor(bench: Bench, wander_ft: float) -> None:
    bench.cards["turns"] = 500.0
    edge = 3_000.0 + 150.0 * 2.5
    calls = _hover(bench, lambda noise: {"altitude_m": (edge + wander_ft * noise) * FT})
    _keeps_time(calls, "abandon")


def test_chute_on_its_floor(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    edge = 4_000.0 + 150.0 * 2.5
    calls = _hover(bench, lambda noise: {"altitude_m": (edge + 3.0 * noise) * FT})
    _keeps_time(calls, "chute")
    assert "abandon" not in {said for _, said in calls}


def test_recover_on_the_planned_turns_and_whole_turns_once(bench: Bench) -> None:
    bench.cards["turns"] = 2.0
    edge = 2.0 - 2.5 / 3.0
    calls = _hover(bench, lambda noise: {"turns": edge + 0.02 * noise})
    _keeps_time(calls, "recover")
    assert [said for _, said in calls].count("one") == 1


def test_a_whole_turn_on_the_edge_is_said_once(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    calls = _hover(bench, lambda noise: {"turns": 1.0 + 0.03 * noise})
    assert [said for _, said in calls] == ["one"]


def test_flags_on_the_edge(bench: Bench) -> None:
    bench.cards["turns"] = 500.0

    def flicker(noise: float) -> dict[str, float]:
        return {"flattening": noise > 0, "degraded": noise > 0.5, "power_on": noise > -2.0, "turns": 0.5}

    said = [words for _, words in _hover(bench, flicker)]
    assert said.count("flattening") == 1
    assert said.count("data degraded") == 1
    assert said.count("power") <= 1


@given(st.integers(0, 2**31), st.sampled_from([20.0, 50.0, 100.0, 200.0]))
@settings(max_examples=25, deadline=None)
def test_the_rate_of_the_frames_moves_no_call_by_more_than_a_step(seed: int, rate_hz: float) -> None:
    """The same spin told 20 and 20 to 200 times a second, without noise: recover and abandon within 60 ms of each other."""
    rng = np.random.default_rng(seed)
    plan = make_plan(rng, chute=False)
    shape = Shape(
        entry_m=float(rng.uniform(2_500, 5_000)), sink_mps=float(rng.uniform(30, 70)), period_s=float(rng.uniform(1.5, 4)),
        known_s=1.0, controls_s=None, recovery_turns=1.0, seconds=40.0, orientation=1, direction=1, mode=0,
    )  # fmt: skip

    def first_calls(hz: float) -> dict[int, int]:
        spin = spin_records(shape, hz, 10**18, 1, np.random.default_rng(1))
        t = (spin["time_ns"] - 10**18) * 1e-9
        building = 1.0 - np.exp(-t / 2.0)
        spin["sink_mps"] = shape.sink_mps * building
        spin["altitude_m"] = shape.entry_m - shape.sink_mps * (t - 2.0 * building)
        level = level_records(5, hz, shape.entry_m, 10**18 - round(5e9 / hz))
        told = run(Flight(plan, np.concatenate([level, spin])))
        out: dict[int, int] = {}
        for _, at, call, _ in told.calls:
            out.setdefault(call, at)
        return out

    slow, fast = first_calls(20.0), first_calls(rate_hz)
    for call in (reasons.RECOVER, reasons.ABANDON):
        assert (call in slow) == (call in fast)
        if call in slow and not _delayed(slow, call):
            assert abs(slow[call] - fast[call]) <= 100_000_000


def _delayed(first: dict[int, int], call: int) -> bool:
    """Whether a higher call was being spoken shortly before, which moves a lower one by its own time."""
    return any(higher > call and at <= first[call] for higher, at in first.items())
