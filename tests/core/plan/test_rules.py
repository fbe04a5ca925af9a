"""The rules as data against the published limits, and that nothing unread passes for read."""

import pytest
from tests.authorities.recovery_rules import FROM_MEMORY, VERIFIED, VERIFIED_LIMIT_ONLY

from spinfloor.core.plan.rules import RULES


@pytest.mark.parametrize(("key", "turns", "seconds", "recovery", "loss_ft"), [*VERIFIED, *FROM_MEMORY])
def test_numbers(key: str, turns: float | None, seconds: float | None, recovery: float, loss_ft: float | None) -> None:
    rule = RULES[key]
    assert (rule.turns_before, rule.or_seconds, rule.recovery_turns, rule.loss_ft) == (
        turns,
        seconds,
        recovery,
        loss_ft,
    )


@pytest.mark.parametrize(("key", "recovery"), VERIFIED_LIMIT_ONLY)
def test_limits_read_without_the_rest(key: str, recovery: float) -> None:
    assert RULES[key].recovery_turns == recovery


def test_only_what_was_read_is_marked_verified() -> None:
    read = {row[0] for row in VERIFIED} | {row[0] for row in VERIFIED_LIMIT_ONLY}
    assert {key for key, rule in RULES.items() if rule.verified} == read
    for row in FROM_MEMORY:
        assert not RULES[row[0]].verified


def test_every_rule_is_in_a_table_or_said_to_be_from_memory() -> None:
    named = {row[0] for row in (*VERIFIED, *FROM_MEMORY, *VERIFIED_LIMIT_ONLY)}
    for key in set(RULES) - named:
        assert "from memory" in RULES[key].note


def test_every_row_says_where_it_comes_from() -> None:
    for key, rule in RULES.items():
        assert rule.key == key
        assert rule.title
        assert rule.source
        assert rule.page
        assert rule.verified or rule.page != "" or rule.note
        assert rule.recovery_turns > 0.0
