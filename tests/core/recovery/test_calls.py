"""The table of calls, row by row, on the bench."""

import numpy as np
import pytest
from tests.core.recovery.bench import Bench

from spinfloor.core.events import Json
from spinfloor.core.recovery.marks import MarkError
from spinfloor.core.recovery.numbers_in_words import spoken

FT = 0.3048


def _no_plan(bench: Bench) -> Bench:
    """A card that never runs out of turns."""
    bench.cards["turns"] = 500.0
    return bench


def _number(data: dict[str, Json], name: str) -> float:
    value = data[name]
    assert isinstance(value, float)
    return value


def _words(bench: Bench) -> list[str]:
    return [str(d["words"]) for _, kind, d in bench.said if kind == "call"]


def test_turns_are_counted_in_words(bench: Bench) -> None:
    assert _no_plan(bench).fly(3.0 * 4.2) == ["one", "two", "three", "four"]


def test_the_count_the_plan_calls(bench: Bench) -> None:
    bench.settings["turns_called_vertical"] = 1.0
    _no_plan(bench).fly(3.0 * 4.2)
    at = [round(t, 1) for t, _, _ in bench.said]
    assert at[0] == pytest.approx((1.0 - 0.3) / 0.9 * 3.0, abs=0.11)


def test_recover_ahead_of_the_planned_turns_by_the_lead(bench: Bench) -> None:
    bench.cards["turns"] = 6.0
    bench.fly(3.0 * 6.0)
    first = next((t, d) for t, _, d in bench.said if d["call"] == "recover")
    complete_s = (6.0 - 0.4) * 3.0
    assert first[0] == pytest.approx(complete_s - 2.5, abs=0.06)
    assert first[1]["reason"] == "planned turns complete within the lead: 5.2 of 6 turns, lead 2.5 s"
    assert first[1]["planned_turns"] == 6.0


def test_recover_repeats_until_obeyed(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    bench.fly(6.5)
    times = [t for t, _, d in bench.said if d["call"] == "recover"]
    assert len(times) == 4
    np.testing.assert_allclose(np.diff(times), 2.0, atol=0.06)
    assert [d["repeat"] for _, _, d in bench.said if d["call"] == "recover"] == [0, 1, 2, 3]
    start = float(bench.motion["turns"][0])
    bench.step(
        0.05,
        recovery_started=1,
        recovery_started_now=1,
        recovery_start_turns=start,
        recovery_start_altitude_m=20_000 * FT,
    )
    assert "recover" not in bench.fly(6.0)


def test_recover_when_the_cautious_altitude_left_runs_out(bench: Bench) -> None:
    """Called when the bound, the reaction paid in it, is used up by the rest of the lead: once, not twice."""
    _no_plan(bench).set(altitude_m=8_500 * FT)
    bench.fly(20.0, sink=True)
    t, data = next((t, d) for t, _, d in bench.said if d["call"] == "recover")
    assert data["reason_code"] == "cautious altitude left used up within the lead"
    assert data["altitude_left_bound_ft"] == pytest.approx(150.0 * 1.5, abs=10.0)
    assert _number(data, "altitude_left_bound_ft") < _number(data, "altitude_left_ft")
    assert t > 0.0


def test_acknowledging_one_reason_leaves_the_other(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    assert bench.fly(0.2) == ["recover"]
    bench.mark("acknowledge", call="recover")
    assert "recover" not in bench.fly(5.0)
    bench.set(altitude_m=7_000 * FT)
    words = bench.fly(0.2)
    assert words == ["recover"]
    assert bench.said[-1][2]["reason_code"] == "cautious altitude left used up within the lead"


def test_acknowledging_without_a_name_silences_what_holds(bench: Bench) -> None:
    _no_plan(bench).set(altitude_m=3_200 * FT)
    assert bench.fly(0.2) == ["abandon"]
    bench.mark("acknowledge")
    assert set(bench.fly(5.0)) <= {"one", "two"}


def test_abandon_cuts_off_and_outranks(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    assert bench.fly(0.2) == ["recover"]
    bench.set(altitude_m=3_300 * FT)
    assert bench.fly(0.1) == ["abandon"]
    data = bench.said[-1][2]
    assert data["reason_code"] == "abandon floor reached within the lead"
    assert data["floor_ft"] == 3_000.0
    told = bench.fly(6.0)
    assert told.count("abandon") >= 2
    assert set(told) == {"abandon"}  # not in its pauses either, nor a turn counted


def test_abandon_at_its_lead_exactly(bench: Bench) -> None:
    _no_plan(bench)
    edge_ft = 3_000.0 + 150.0 * 2.5
    assert "abandon" not in [d.get("words") for d in bench.step(0.05, altitude_m=(edge_ft + 1.0) * FT)]
    assert "abandon" in [d.get("words") for d in bench.step(0.05, altitude_m=(edge_ft - 1.0) * FT)]


def test_abandon_comes_sooner_when_altitude_is_less_sure(bench: Bench) -> None:
    _no_plan(bench).settings["abandon_floor_m"] = 3_000 * FT
    bench.set(altitude_m=3_700 * FT, altitude_sd_m=0.0)
    assert "abandon" not in bench.fly(0.1)
    bench.set(altitude_sd_m=250 * FT, estimated=1)
    assert "abandon" in bench.fly(0.1)
    assert bench.said[-1][2]["estimated"] is True


def test_abandon_when_the_ground_is_out_of_reach(bench: Bench) -> None:
    """Even the optimistic bound of the loss ends below ground, well above the abandon floor's lead."""
    bench.settings["abandon_floor_m"] = 0.0
    bench.settings["chute_floor_m"] = 0.0
    _no_plan(bench).set(altitude_m=1_300 * FT)
    assert bench.fly(0.1) == ["abandon"]
    assert bench.said[-1][2]["reason_code"] == "recovery above ground no longer likely"


def test_chute_at_its_floor_only_when_fitted(bench: Bench) -> None:
    _no_plan(bench).set(altitude_m=4_300 * FT)
    assert bench.fly(0.1) == ["chute"]
    bench.settings["chute_fitted"] = 0.0
    bench.decision["active"] = 0
    bench.decision["repeats"] = 0
    assert "chute" not in bench.fly(3.0)


def test_chute_when_the_controls_do_not_slow_the_rotation(bench: Bench) -> None:
    _no_plan(bench).fly(4.0)
    start = float(bench.motion["turns"][0])
    bench.set(recovery_started=1, recovery_start_turns=start, recovery_start_altitude_m=19_000 * FT)
    assert "chute" not in bench.fly(3.0 * 1.9)
    assert "chute" in bench.fly(3.0 * 0.3)
    assert str(bench.said[-1][2]["reason"]).startswith("recovery controls have not slowed the rotation: 2.0 turns")


def test_no_chute_when_the_rotation_slows(bench: Bench) -> None:
    _no_plan(bench).fly(4.0)
    start = float(bench.motion["turns"][0])
    bench.set(recovery_started=1, recovery_start_turns=start, recovery_start_altitude_m=19_000 * FT)
    bench.set(rotation_radps=0.5 * 2 * np.pi / 3)
    assert "chute" not in bench.fly(3.0 * 4.0)


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("reversed_now", "reversal"),
        ("restarted_now", "spinning again"),
        ("turned_inverted_now", "inverted"),
        ("data_lost_now", "data lost"),
        ("flattening", "flattening"),
        ("degraded", "data degraded"),
    ],
)
def test_cautions(bench: Bench, field: str, words: str) -> None:
    _no_plan(bench).fly(0.5)
    events = bench.step(0.05, **{field: 1})
    assert [e["words"] for e in events] == [words]
    assert events[0]["call"] == "caution"


def test_power_in_the_spin_is_a_caution_unless_the_card_flies_it(bench: Bench) -> None:
    _no_plan(bench).set(power_on=1)
    assert "power" not in bench.fly(0.9)
    assert "power" in bench.fly(0.3)
    assert "power" not in bench.fly(5.0)
    bench.decision["power_called"] = 0
    bench.mark("card", card="power")
    bench.cards["turns"] = 500.0
    assert "power" not in bench.fly(3.0)


def test_cautions_wait_their_turn_by_rank(bench: Bench) -> None:
    _no_plan(bench).step(0.05, data_lost_now=1, flattening=1, turned_inverted_now=1)
    bench.fly(3.0)
    assert _words(bench)[:3] == ["inverted", "data lost", "flattening"]


def test_data_back_follows_a_called_loss(bench: Bench) -> None:
    _no_plan(bench).step(0.05, data_restored_now=1)
    assert "data back" not in _words(bench)
    bench.step(0.05, data_lost_now=1)
    bench.fly(1.5)
    bench.step(0.05, data_restored_now=1)
    bench.fly(0.5)
    assert _words(bench).count("data back") == 1


def test_floor_crossed_once_with_hysteresis(bench: Bench) -> None:
    bench.settings["abandon_floor_m"] = -1e4
    bench.settings["ground_m"] = -1e5
    _no_plan(bench).step(0.05)
    rng = np.random.default_rng(3)
    for _ in range(400):
        bench.step(0.05, altitude_m=5_000 * FT + rng.normal(0.0, 2.0))
    crossed = [d for _, kind, d in bench.said if kind == "floor.crossed"]
    assert [d["floor"] for d in crossed] == ["recovery"]
    assert crossed[0]["floor_ft"] == 5_000.0
    bench.step(0.05, altitude_m=5_200 * FT)
    bench.step(0.05, altitude_m=4_990 * FT)
    assert len([d for _, kind, d in bench.said if kind == "floor.crossed"]) == 2


def test_calls_made_by_a_person_count(bench: Bench) -> None:
    bench.cards["turns"] = 2.0
    bench.decision["spin_ordinal"] = 1
    bench.decision["levelled"] = 0
    bench.decision["planned_turns"] = 2.0
    bench.mark("call_made", call="recover")
    assert "recover" not in bench.fly(1.9)
    assert "recover" in bench.fly(1.0)


@pytest.mark.parametrize(
    ("kind", "data"), [("card", {"card": "nine"}), ("card", {}), ("call_made", {}), ("acknowledge", {"call": 3})]
)
def test_marks_that_say_too_little_are_refused(bench: Bench, kind: str, data: dict[str, int | str]) -> None:
    before = bench.decision.tobytes()
    with pytest.raises(MarkError):
        bench.mark(kind, **data)
    assert bench.decision.tobytes() == before


def test_configured_words(bench: Bench) -> None:
    words = bench.plan.call_words.model_copy(update={"recover": "recover now", "flattening": "going flat"})
    bench.plan = bench.plan.model_copy(update={"call_words": words})
    bench.cards["turns"] = 1.0
    bench.step(0.05, flattening=1)
    assert "going flat" in [*_words(bench), *bench.fly(1.2)]
    assert "recover now" in _words(bench)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (1, "one"),
        (12, "twelve"),
        (20, "twenty"),
        (21, "twenty-one"),
        (99, "ninety-nine"),
        (100, "one hundred"),
        (105, "one hundred and five"),
        (1000, "1000"),
    ],
)
def test_numbers_in_words(number: int, words: str) -> None:
    assert spoken(number) == words
