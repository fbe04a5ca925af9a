"""From the controls to level flight: the prediction frozen, the result against it, the lesson, the surprise, the gate."""

from typing import Any

import numpy as np
import pytest
from tests.core.recovery.bench import Bench

from spinfloor.core.plan.gate import Result, SignOff, gate
from spinfloor.core.recovery.beliefs import Evidence

FT = 0.3048
STEEP = 1  # mode index of the bench's spin: moderately steep


def recover(
    bench: Bench, *, turns: float = 1.0, loss_ft: float = 2_000.0, steps: int = 6, source: int = 1
) -> dict[str, Any]:
    """Controls at the present height, `turns` more, level flight `loss_ft` lower; returns the recovered event's data."""
    start = float(bench.motion["turns"][0])
    top = float(bench.motion["altitude_m"][0])
    bench.step(
        0.05, recovery_started=1, recovery_started_now=1, recovery_source=source, recovery_start_turns=start,
        recovery_start_altitude_m=top,
    )  # fmt: skip
    for k in range(1, steps + 1):
        bench.step(0.4, turns=start + turns * k / steps, altitude_m=top - 0.4 * loss_ft * FT * k / steps)
    end = float(bench.motion["altitude_m"][0])
    bench.step(0.05, in_spin=0, spin_ended_now=1, spin_end_altitude_m=end)
    for k in range(1, steps + 1):
        bench.step(0.4, altitude_m=end - 0.6 * loss_ft * FT * k / steps)
    level = top - loss_ft * FT
    bench.step(0.05, level_now=1, level_altitude_m=level, level_ns=int(bench.motion["time_ns"][0]))
    return next(data for _, kind, data in reversed(bench.said) if kind == "recovered")


def again(bench: Bench) -> None:
    """The next spin of the same kind at the height of the first."""
    bench.set(
        spin_ordinal=int(bench.motion["spin_ordinal"][0]) + 1, in_spin=1, recovery_started=0, turns=0.4,
        altitude_m=20_000 * FT,
    ).step(0.05)  # fmt: skip


def test_what_a_recovery_says(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    bench.fly(4.0)
    data = recover(bench, turns=1.0, loss_ft=2_000.0)
    assert data["altitude_ft"] == pytest.approx(18_000.0, abs=0.2)
    assert data["loss_ft"] == pytest.approx(2_000.0, abs=0.2)
    assert data["margin_ft"] == pytest.approx(13_000.0, abs=0.2)
    assert data["recovery_turns"] == pytest.approx(1.0)
    assert data["loss_from"] == "recovery controls"
    assert (data["orientation"], data["direction"], data["mode"]) == ("upright", "right", "moderately steep")
    assert data["predicted_bound_margin_ft"] < data["predicted_margin_ft"]
    low, high = data["predicted_99_margin_ft"]
    assert low < data["predicted_bound_margin_ft"]
    assert data["predicted_margin_ft"] < high
    assert data["surprise"] is False
    assert data["earlier_spins"] == 0


def test_the_prediction_does_not_move_once_the_controls_are_in(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    top = float(bench.motion["altitude_m"][0])
    bench.step(
        0.05, recovery_started=1, recovery_started_now=1, recovery_start_turns=0.4, recovery_start_altitude_m=top
    )  # fmt: skip
    names = ["predicted_level_m", "predicted_bound_m", "predicted_low_m", "predicted_high_m", "predicted_turns"]
    frozen = {name: float(bench.decision[name][0]) for name in names}
    assert frozen["predicted_low_m"] < frozen["predicted_bound_m"] < frozen["predicted_level_m"]
    for k in range(10):
        bench.step(0.3, turns=0.4 + 0.3 * k, altitude_m=top - 90.0 * k, sink_mps=60.0 + 5.0 * k, loss_per_turn_m=300.0)
    assert {name: float(bench.decision[name][0]) for name in names} == frozen


@pytest.mark.parametrize(
    ("turns", "loss_ft", "surprises"),
    [
        (1.0, 2_000.0, []),
        (2.4, 2_200.0, ["recovery turns"]),
        (1.0, 9_000.0, ["altitude at level flight"]),
        (6.0, 9_000.0, ["recovery turns", "altitude at level flight"]),
    ],
)
def test_outside_the_99_per_cent_is_a_surprise(
    bench: Bench, turns: float, loss_ft: float, surprises: list[str]
) -> None:
    bench.cards["turns"] = 500.0
    data = recover(bench, turns=turns, loss_ft=loss_ft)
    assert data["surprises"] == surprises
    assert data["surprise"] is bool(surprises)


def test_what_was_predicted_at_first_becomes_a_surprise_once_more_is_known(bench: Bench) -> None:
    """Ten alike recoveries, then one of 1.9 turns: inside the first wide prediction, outside the learnt one."""
    bench.cards["turns"] = 500.0
    rng = np.random.default_rng(4)
    for _ in range(10):
        data = recover(bench, turns=1.0 + 0.02 * rng.standard_normal(), loss_ft=2_000.0 + 30.0 * rng.standard_normal())
        assert data["surprise"] is False
        again(bench)
    assert recover(bench, turns=1.9, loss_ft=2_100.0)["surprises"] == ["recovery turns"]


def test_a_recovery_teaches_its_own_kind_once(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    data = recover(bench)
    counts = bench.beliefs["sums"][0, :, :, :, :, 0]
    assert counts.sum() == 3.0  # one lesson of each quantity
    assert (counts[:, 0, 0, STEEP] == 1.0).all()
    assert int(bench.beliefs["revision"][0]) == 1
    bench.step(0.05, level_now=1)
    assert bench.beliefs["sums"][0, :, :, :, :, 0].sum() == 3.0
    record = {"sortie": "s", "time_ns": 1, "data": data}
    item = Evidence.of_event(record, 1)
    assert item is not None
    assert item.recovery_turns == pytest.approx(float(bench.beliefs["sums"][0, 0, 0, 0, STEEP, 1]), abs=1e-3)


@pytest.mark.parametrize(("source", "word", "lessons"), [(1, "controls", 3.0), (2, "mark", 3.0), (3, "inferred", 0.0)])
def test_controls_only_inferred_teach_nothing(bench: Bench, source: int, word: str, lessons: float) -> None:
    """Controls inferred from the slowing rotation are dated late: they would teach recoveries quicker than they are."""
    bench.cards["turns"] = 500.0
    data = recover(bench, turns=0.1, loss_ft=2_000.0, source=source)
    assert data["recovery_source"] == word
    assert bench.beliefs["sums"][0, :, :, :, :, 0].sum() == lessons
    assert (Evidence.of_event({"sortie": "s", "time_ns": 1, "data": data}, 1) is None) == (lessons == 0.0)


def test_recovered_is_called_with_the_margin_that_is_there(bench: Bench) -> None:
    """Level again nothing more is lost: no estimate of a recovery that is over."""
    bench.cards["turns"] = 500.0
    bench.fly(4.0)
    margin = recover(bench, turns=1.0, loss_ft=2_000.0)["margin_ft"]
    bench.step(0.5)
    bench.step(3.0)
    call = next(data for _, kind, data in bench.said if kind == "call" and data["reason_code"] == "recovered")
    assert call["altitude_left_ft"] == call["altitude_left_bound_ft"] == pytest.approx(margin, abs=0.2)


def test_inferred_controls_judge_only_what_is_sure(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    assert recover(bench, turns=2.4, loss_ft=600.0, source=3)["surprises"] == []
    again(bench)
    assert recover(bench, turns=2.4, loss_ft=9_000.0, source=3)["surprises"] == ["altitude at level flight"]


def test_level_flight_after_a_spin_without_controls_teaches_nothing(bench: Bench) -> None:
    bench.cards["turns"] = 500.0
    bench.step(0.05)
    bench.step(0.05, in_spin=0, spin_ended_now=1, spin_end_altitude_m=19_000 * FT)
    bench.step(0.05, level_now=1, level_altitude_m=18_500 * FT)
    data = next(data for _, kind, data in bench.said if kind == "recovered")
    assert data["loss_from"] == "end of rotation"
    assert data["loss_ft"] == pytest.approx(500.0, abs=0.2)
    assert data["predicted_margin_ft"] is None
    assert bench.beliefs["sums"].sum() == 0.0


def test_a_surprise_closes_the_next_card_until_it_is_signed_off(bench: Bench) -> None:
    """The whole way: the compiled step's surprise, the gate, an engineer's reason."""
    bench.cards["turns"] = 500.0
    data = recover(bench, turns=2.4, loss_ft=2_200.0)
    result = Result("s1", 1, bench.plan.cards[0].id, surprises=tuple(data["surprises"]), margin_ft=data["margin_ft"])
    before = gate(bench.plan.cards, [result], [])
    assert [g.state.value for g in before] == ["flown", "closed", "closed"]
    assert before[1].reasons == ("spin 1 of s1: recovery turns outside the 99 % prediction",)
    after = gate(bench.plan.cards, [result], [SignOff("s1", 1, "engineer", "pedal was not at the stop", 0)])
    assert [g.state.value for g in after] == ["flown", "open", "closed"]
