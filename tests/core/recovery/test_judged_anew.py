"""Calls after something changed: floors moved, data back, clock set back, a call acknowledged, rotation slowing."""

import pytest
from tests.core.recovery.bench import Bench

from spinfloor.core.plan.flatten import write_floors

FT = 0.3048


def _no_plan(bench: Bench) -> Bench:
    """A card that never runs out of turns, and no ground to be reached."""
    bench.cards["turns"] = 500.0
    bench.settings["ground_m"] = -1e5
    return bench


def _abandon_floor(bench: Bench, feet: float) -> None:
    write_floors(bench.settings, bench.plan.floors.model_copy(update={"abandon_ft": feet, "recovery_ft": feet + 500.0}))


@pytest.mark.parametrize("acknowledged", [False, True])
def test_a_floor_put_right_ends_its_abandon_and_is_called_in_its_turn(bench: Bench, acknowledged: bool) -> None:
    _no_plan(bench).set(altitude_m=15_000 * FT)
    bench.settings["chute_fitted"] = 0.0
    _abandon_floor(bench, 14_800.0)  # a digit too many
    assert bench.fly(0.2) == ["abandon"]
    if acknowledged:
        bench.mark("acknowledge", call="abandon")
    _abandon_floor(bench, 4_800.0)
    assert "abandon" not in bench.fly(5.0)
    bench.set(altitude_m=5_000 * FT)
    assert bench.fly(0.2) == ["abandon"]


def test_a_floor_moved_by_its_caller_does_not_stop_a_true_abandon(bench: Bench) -> None:
    _no_plan(bench).set(altitude_m=3_200 * FT)
    bench.settings["chute_fitted"] = 0.0
    assert bench.fly(0.2) == ["abandon"]
    _abandon_floor(bench, 3_100.0)
    assert bench.fly(4.0).count("abandon") == 2


def test_what_held_on_carried_motion_is_judged_anew_when_data_are_back(bench: Bench) -> None:
    _no_plan(bench).settings["chute_fitted"] = 0.0
    bench.set(altitude_m=3_300 * FT, estimated=1)
    assert bench.fly(0.2) == ["abandon"]
    bench.mark("acknowledge", call="abandon")
    bench.set(altitude_m=9_000 * FT, estimated=0)
    assert not {"abandon", "recover"} & set(bench.fly(5.0))
    bench.set(altitude_m=3_300 * FT)
    assert bench.fly(0.2) == ["abandon"]


def test_what_held_on_data_is_not_taken_back_by_carried_motion(bench: Bench) -> None:
    _no_plan(bench).settings["chute_fitted"] = 0.0
    bench.set(altitude_m=3_300 * FT)
    assert bench.fly(0.2) == ["abandon"]
    bench.mark("acknowledge", call="abandon")
    bench.set(estimated=1)
    bench.fly(1.0)
    bench.set(estimated=0, altitude_m=9_000 * FT)
    assert "abandon" not in bench.fly(4.0)


def test_a_clock_set_back_does_not_stop_repetition(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    assert bench.fly(0.2) == ["recover"]
    bench.step(-3600.0)
    assert bench.fly(4.1).count("recover") == 2


def test_a_clock_that_jumps_forth_and_back_makes_no_call_on_top_of_another(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    bench.settings["repeat_call_s"] = 10.0
    assert bench.fly(0.1) == ["recover"]
    bench.step(4.0)
    assert bench.step(-4.0, flattening=1) == []  # *recover* is still being said
    assert "flattening" in bench.fly(1.1)


def test_nothing_lower_after_an_abandon_that_was_acknowledged(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    assert bench.fly(0.2) == ["recover"]
    bench.set(altitude_m=3_200 * FT)
    assert bench.fly(0.2) == ["abandon"]
    bench.mark("acknowledge", call="abandon")
    assert bench.fly(8.0) == []


def test_the_graver_of_two_reasons_is_said_and_not_acknowledged_unheard(bench: Bench) -> None:
    """Acknowledged for the turns while the altitude has just run out too: *recover* is said again, for the altitude."""
    bench.cards["turns"] = 1.0
    assert bench.fly(0.2) == ["recover"]
    bench.set(altitude_m=7_000 * FT)
    bench.step(0.05)
    bench.mark("acknowledge", call="recover")
    assert [word for word in bench.fly(2.1) if word != "one"] == ["recover"]
    assert bench.said[-1][2]["reason_code"] == "cautious altitude left used up within the lead"
    bench.mark("acknowledge", call="recover")
    assert "recover" not in bench.fly(4.0)


def test_chute_acknowledged_is_not_followed_by_recover(bench: Bench) -> None:
    bench.cards["turns"] = 1.0
    bench.settings["abandon_floor_m"] = bench.settings["ground_m"] = -1e5
    assert bench.fly(0.2) == ["recover"]
    bench.set(altitude_m=4_100 * FT)
    bench.step(0.05)
    assert "chute" in [d["words"] for _, _, d in bench.said if d.get("call") == "chute"]
    bench.mark("acknowledge", call="chute")
    assert not {"chute", "recover"} & set(bench.fly(5.0))


def test_chute_is_called_no_more_once_the_rotation_slows(bench: Bench) -> None:
    _no_plan(bench).set(recovery_started=1, recovery_start_turns=0.4, recovery_start_altitude_m=20_000 * FT)
    bench.decision["prediction"] = 1
    bench.fly(3.0 * 2.1)
    assert [d["words"] for _, _, d in bench.said if d.get("call") == "chute"] == ["chute"]
    bench.set(rotation_radps=0.4 * float(bench.motion["rotation_at_recovery_radps"][0]))
    assert "chute" not in bench.fly(5.0)
    bench.set(rotation_radps=float(bench.motion["rotation_at_recovery_radps"][0]))
    assert "chute" in bench.fly(0.2)


def test_cautions_of_a_spin_are_not_said_after_it(bench: Bench) -> None:
    _no_plan(bench).fly(3.0 * 0.6 + 0.1)  # "one" is being said
    bench.set(flattening=1, degraded=1)
    bench.settings["speaking_s"] = 3.0
    bench.step(0.05, data_lost_now=1)
    assert bench.said[-1][2]["words"] == "data lost"
    bench.fly(0.2)
    bench.step(0.05, spin_ended_now=1, in_spin=0)
    assert not {"flattening", "data degraded"} & set(bench.fly(5.0))


def test_no_data_back_for_a_loss_nobody_was_told_of(bench: Bench) -> None:
    _no_plan(bench).settings["speaking_s"] = 3.0
    bench.step(0.05, reversed_now=1)
    bench.step(0.05, data_lost_now=1)
    bench.step(0.5, data_restored_now=1)
    assert not {"data lost", "data back"} & set(bench.fly(6.0))


def _spin(bench: Bench, ordinal: int, orientation: int, direction: int, **news: float) -> list[str]:
    bench.set(in_spin=1, spin_ordinal=ordinal, orientation=orientation, direction=direction, turns=0.2)
    told = [str(d["words"]) for d in bench.step(0.05, **news) if d["kind"] == "call"]
    return told + bench.fly(0.5)


def test_the_cards_spin_after_a_departure_the_other_way_has_its_turns(bench: Bench) -> None:
    """Entered to the right; the aircraft departs left, falters and spins right without ever being level."""
    bench.cards["turns"] = 2.0
    _spin(bench, 1, 1, -1)
    bench.step(0.05, in_spin=0, spin_ended_now=1)
    assert _spin(bench, 2, 1, 1, reversed_now=1) == ["reversal"]
    assert bench.decision["card_index"][0] == 0
    assert "recover" in bench.fly(3.0)
    bench.step(0.05, in_spin=0, spin_ended_now=1)
    _spin(bench, 3, 1, -1, reversed_now=1)
    bench.step(0.05, in_spin=0, spin_ended_now=1)
    _spin(bench, 4, 1, 1, reversed_now=1)
    assert "recover" not in bench.fly(5.5)  # flown once: this one nobody planned


def test_an_inverted_spin_is_a_caution_unless_its_card_says_inverted(bench: Bench) -> None:
    assert _spin(_no_plan(bench), 1, -1, 1) == ["inverted"]


def test_a_planned_inverted_spin_after_an_upright_one_is_none(bench: Bench) -> None:
    bench.cards["orientation"] = -1
    assert _spin(_no_plan(bench), 2, -1, 1, turned_inverted_now=1) == []


def test_an_inverted_spin_out_of_the_recovery_is_one_whatever_the_card(bench: Bench) -> None:
    _no_plan(bench).cards["orientation"] = -1
    _spin(bench, 1, 1, 1)
    bench.step(0.05, in_spin=0, spin_ended_now=1)
    assert _spin(bench, 2, -1, -1, turned_inverted_now=1) == ["inverted"]


def test_turns_complete_on_carried_motion_stay_complete(bench: Bench) -> None:
    """The turns of a loss are not in the count afterwards; what was called is not taken back for it."""
    bench.cards["turns"] = 2.0
    bench.set(turns=1.9, estimated=1)
    assert bench.fly(0.1) == ["recover"]
    bench.set(turns=0.5, estimated=0)
    assert bench.fly(4.1).count("recover") == 2


def test_another_card_has_its_own_turns(bench: Bench) -> None:
    bench.cards["turns"][:2] = (1.0, 4.0)
    assert bench.fly(0.1) == ["recover"]
    bench.mark("acknowledge", call="recover")
    bench.mark("card", card="six")
    assert "recover" not in bench.fly(5.0)
    assert "recover" in bench.fly(4.0)


def _marked(bench: Bench, source: int) -> list[str]:
    bench.cards["turns"] = 1.0
    bench.settings["chute_fitted"] = 0.0
    assert bench.fly(0.1) == ["recover"]
    at = float(bench.motion["turns"][0])
    bench.step(0.05, recovery_started=1, recovery_started_now=1, recovery_source=source, recovery_start_turns=at,
               recovery_start_altitude_m=20_000 * FT)  # fmt: skip
    assert "recover" not in bench.fly(5.9)
    return bench.fly(0.5)


def test_a_mark_that_slows_nothing_is_no_obedience(bench: Bench) -> None:
    """Two turns after *controls applied*, and the rotation is what it was: the mark was a slip, or the controls do nothing."""
    assert "recover" in _marked(bench, 2)


def test_controls_that_slow_nothing_are_in_all_the_same(bench: Bench) -> None:
    assert "recover" not in _marked(bench, 1)


def _level(bench: Bench) -> None:
    bench.step(0.05, in_spin=0, spin_ended_now=1)
    bench.step(1.0, level_now=1, level_altitude_m=15_000 * FT, spin_end_altitude_m=16_000 * FT)


@pytest.mark.parametrize(("flown", "card"), [(2.9, 1), (3.1, 2)])
def test_a_spin_broken_off_leaves_its_card_to_be_flown_again(bench: Bench, flown: float, card: int) -> None:
    """Three of six turns are half: a spin that did not become one is flown again, and *recover* is for its turns."""
    bench.decision["card_index"] = 1
    bench.cards["turns"][1] = 6.0
    bench.step(0.05)
    bench.set(turns=flown)
    _level(bench)
    assert bench.decision["card_index"][0] == card
