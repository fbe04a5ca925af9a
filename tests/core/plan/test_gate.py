"""Build-up order and the gate to the next card: what closes it, and what opens it again."""

import pytest
from tests.core.plan.plans import good

from spinfloor.core.plan.gate import CardState, Result, SignOff, SignOffError, build_up_notes, gate, next_card
from spinfloor.core.plan.load import plan_from

CARDS = plan_from(
    good(
        cards=[
            {"id": f"C{i}", "direction": "right", "turns": float(i), "entry_altitude_ft": 12_000.0} for i in (1, 2, 3)
        ]
    )
).cards


def states(results: list[Result], signed: list[SignOff] | None = None) -> list[str]:
    return [card.state.value for card in gate(CARDS, results, signed or [])]


def test_cards_open_one_after_the_other() -> None:
    assert states([]) == ["open", "closed", "closed"]
    assert states([Result("s1", 1, "C1")]) == ["flown", "open", "closed"]
    assert states([Result("s1", 1, "C1"), Result("s2", 1, "C2")]) == ["flown", "flown", "open"]
    last = gate(CARDS, [Result("s", i, f"C{i}") for i in (1, 2, 3)], [])
    assert next_card(last) is None


def test_a_card_flown_out_of_order_leaves_the_one_before_it_next() -> None:
    gates = gate(CARDS, [Result("s1", 1, "C2")], [])
    assert [g.state for g in gates] == [CardState.OPEN, CardState.FLOWN, CardState.CLOSED]
    coming = next_card(gates)
    assert coming is not None
    assert coming.card == "C1"


@pytest.mark.parametrize(
    ("result", "words"),
    [
        (Result("s1", 1, "C1", surprises=("recovery turns",)), "recovery turns outside the 99 % prediction"),
        (Result("s1", 1, "C1", margin_ft=-120.0), "level flight 120 ft below the recovery floor"),
        (Result("s1", 1, "C1", exceeded=True), "recovery beyond the limit of the rule"),
        (Result("s1", 1, None, surprises=("altitude at level flight",)), "altitude at level flight outside"),
    ],
)
def test_what_closes_the_next_card_until_someone_has_looked(result: Result, words: str) -> None:
    flown = [Result("s0", 1, "C1"), result]
    closed = gate(CARDS, flown, [])
    assert [g.state.value for g in closed] == ["flown", "closed", "closed"]
    assert words in closed[1].reasons[0]
    assert "spin 1 of s1" in closed[1].reasons[0]
    other = SignOff("s1", 2, "engineer", "not this spin", 0)
    assert states(flown, [other]) == ["flown", "closed", "closed"]
    seen = SignOff("s1", 1, "engineer", "gusts on the day, repeated and agreed", 0)
    assert states(flown, [seen]) == ["flown", "open", "closed"]


def test_a_margin_of_nothing_is_no_objection() -> None:
    assert states([Result("s1", 1, "C1", margin_ft=0.0)]) == ["flown", "open", "closed"]


@pytest.mark.parametrize(("by", "reason"), [("", "looked at it"), ("  ", "looked at it"), ("me", ""), ("me", " ok ")])
def test_a_sign_off_says_who_and_why(by: str, reason: str) -> None:
    with pytest.raises(SignOffError, match="the next card closed"):
        SignOff("s1", 1, by, reason, 0)


def _notes(*changes: dict[str, object]) -> list[str]:
    base = {"direction": "right", "turns": 1.0, "entry_altitude_ft": 12_000.0}
    cards = [{"id": f"C{i}", **base, **change} for i, change in enumerate(changes)]
    return build_up_notes(plan_from(good(cards=cards)))


def test_steps_of_the_build_up() -> None:
    """Turns, mode and centre of gravity one at a time and in small steps: common practice, no source."""
    assert _notes({"turns": 1.0}, {"turns": 3.0}) == []
    assert "in one step" in _notes({"turns": 1.0}, {"turns": 6.0})[0]
    both = _notes({"centre_of_gravity_pct": 25.0}, {"turns": 2.0, "centre_of_gravity_pct": 30.0})
    assert both == ["card C1: turns and centre of gravity aft step up together after card C0; usually one at a time"]
    flatter = _notes({"mode": "steep"}, {"mode": "flat", "power": "on"})
    assert "mode and power step up together" in flatter[0]
    assert _notes({"turns": 6.0}, {"turns": 1.0, "direction": "left"}) == []
    assert "upright after inverted" in _notes({"orientation": "inverted"}, {})[0]
