"""Judging one spin by each rule's clause: the longer of turns and seconds, the limits at their edges, the right clock."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.authorities.recovery_rules import FROM_MEMORY, VERIFIED

from spinfloor.core.plan.judge import Outcome, SpinFigures, judge
from spinfloor.core.plan.rules import RULES, Rule

NORMAL, ACROBATIC = RULES["14-cfr-23.221-normal"], RULES["14-cfr-23.221-acrobatic"]
AMPLE = SpinFigures(turns_before=10.0, seconds_before=30.0, recovery_turns=0.5, recovery_loss_ft=500.0)


@pytest.mark.parametrize(("turns", "outcome"), [(0.99, "within"), (1.0, "within"), (1.01, "exceeded")])
def test_normal_not_more_than_one_turn(turns: float, outcome: str) -> None:
    """14 CFR 23.221(a): at most one additional turn; exactly one is not more than one."""
    assert judge(NORMAL, replace(AMPLE, recovery_turns=turns)).outcome == outcome


@pytest.mark.parametrize(("turns", "outcome"), [(1.5, "within"), (1.51, "exceeded")])
def test_acrobatic_not_more_than_one_and_a_half(turns: float, outcome: str) -> None:
    """14 CFR 23.221(c) as worded in AC 61-67C: six turns or 3 s, then at most 1.5."""
    assert judge(ACROBATIC, replace(AMPLE, recovery_turns=turns)).outcome == outcome


def turns_required(rule: Rule, seconds_per_turn: float) -> float:
    """Turns to fly before the recovery at this period: the turns, or the seconds where they last longer; 0 if none."""
    return max(rule.turns_before or 0.0, (rule.or_seconds or 0.0) / seconds_per_turn)


@pytest.mark.parametrize(("period", "required"), [(2.4, 1.25), (4.0, 1.0), (3.0, 1.0)])
def test_one_turn_or_three_seconds_whichever_is_longer(period: float, required: float) -> None:
    """2.4 s a turn: 3 s last 1.25 turns and govern; 4.0 s: the turn governs; 3.0 s: both agree (120 deg/s)."""
    assert turns_required(NORMAL, period) == pytest.approx(required)
    for turns in (required - 0.01, required, required + 0.01):
        flown = SpinFigures(turns_before=turns, seconds_before=turns * period, recovery_turns=0.5)
        wanted = Outcome.WITHIN if turns >= required - 1e-9 else Outcome.NOT_SHOWN
        assert judge(NORMAL, flown).outcome is wanted


@given(st.floats(0.5, 12.0), st.floats(0.05, 8.0), st.sampled_from(sorted(RULES)))
def test_enough_was_flown_exactly_when_both_hold(period: float, turns: float, key: str) -> None:
    rule = RULES[key]
    verdict = judge(rule, SpinFigures(turns, turns * period, 0.5, 100.0))
    enough = turns >= turns_required(rule, period) - 1e-9
    assert (verdict.outcome is Outcome.WITHIN) == enough


@pytest.mark.parametrize(("key", "turns", "seconds", "recovery", "loss_ft"), [*VERIFIED, *FROM_MEMORY])
def test_each_rule_at_each_of_its_edges(
    key: str, turns: float | None, seconds: float | None, recovery: float, loss_ft: float | None
) -> None:
    at = SpinFigures(turns, seconds, recovery, loss_ft)
    assert judge(RULES[key], at).outcome is Outcome.WITHIN
    assert judge(RULES[key], replace(at, recovery_turns=recovery + 0.01)).outcome is Outcome.EXCEEDED
    if loss_ft is not None:
        over = judge(RULES[key], replace(at, recovery_loss_ft=loss_ft + 1.0))
        assert over.outcome is Outcome.EXCEEDED
        assert "loss in the recovery" in over.sentence
        unmeasured = judge(RULES[key], replace(at, recovery_loss_ft=None))
        assert unmeasured.outcome is Outcome.NOT_SHOWN
    if turns is not None:
        assert judge(RULES[key], replace(at, turns_before=turns - 0.01)).outcome is Outcome.NOT_SHOWN
    if seconds is not None:
        assert judge(RULES[key], replace(at, seconds_before=seconds - 0.01)).outcome is Outcome.NOT_SHOWN


def test_a_spin_without_recovery_controls_shows_nothing() -> None:
    verdict = judge(NORMAL, SpinFigures(turns_before=None, seconds_before=None, recovery_turns=None))
    assert verdict.outcome is Outcome.NOT_SHOWN
    assert "not measured" in verdict.sentence


@pytest.mark.parametrize("key", sorted(RULES))
def test_the_verdict_carries_numbers_clause_and_whether_it_was_read(key: str) -> None:
    rule = RULES[key]
    verdict = judge(rule, AMPLE)
    record = verdict.as_record()
    assert record["source"] == rule.source
    assert record["clause"] == rule.clause
    assert record["verified"] is rule.verified
    sentence = str(record["sentence"])
    assert rule.source in sentence
    assert "0.50 turns" in sentence
    assert ("from memory" in sentence) is not rule.verified
    assert record["notes"] == list(verdict.notes)
    notes = " ".join(verdict.notes)
    assert ("check them in the text" in notes) is not rule.verified


def test_close_to_the_limit_and_inferred_controls_are_said() -> None:
    notes = judge(NORMAL, replace(AMPLE, recovery_turns=0.97, turns_sd=0.02, recovery_source="inferred")).notes
    assert "first recovery control not from control telemetry: inferred from the motion" in notes
    assert any(note.startswith("within two standard uncertainties") for note in notes)
    assert not any("uncertaint" in note for note in judge(NORMAL, replace(AMPLE, turns_sd=math.nan)).notes)
