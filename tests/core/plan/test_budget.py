"""The entry-height budget: the worked example, its layers, refusals that name the shortfall, and how it scales."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.authorities.altitude_practice import BUDGET, FIRST_TURN
from tests.authorities.atmosphere_rows import ISA
from tests.core.plan.plans import good

from spinfloor.core.plan.budget import budget
from spinfloor.core.plan.load import plan_from
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs, Evidence
from spinfloor.core.recovery.pull_out import pull_out_loss_m

TINY = 1e-3


def sure(mean: float) -> dict[str, float]:
    """A prior with next to no spread."""
    return {"mean": mean, "standard_deviation": TINY * mean, "worth_spins": 1.0}


def worked(turns: float, **changes: Any) -> Plan:
    """The worked example of tests/authorities/altitude_practice.py as a card of so many turns."""
    b = BUDGET
    priors = {
        "recovery_turns": sure(b["recovery_turns"]),
        "loss_per_turn_ft": sure(b["sink_fps"] * b["seconds_per_turn"]),
        "seconds_per_turn": b["seconds_per_turn"],
        "pull_out_loss_ft": sure(b["pull_out_ft"]),
        "first_turn_extra_turns": 0.0,
    }
    entry = b["altitude_ft"] + turns * b["sink_fps"] * b["seconds_per_turn"]  # the controls go in at 10,000 ft
    card = {"id": "W", "direction": "right", "turns": turns, "entry_altitude_ft": entry}
    fields = {
        "aircraft": {"name": "worked", "priors": priors},
        "floors": {"recovery_ft": b["floor_ft"], "abandon_ft": 2_000.0},
        "timing": {"reaction_s": b["reaction_s"]},
        "cards": [card],
    }
    return plan_from(good(**fields, **changes))


@pytest.mark.parametrize("turns", [1e-6, 1.0, 3.0, 6.0])
def test_the_worked_example(turns: float) -> None:
    """Controls in at 10,000 ft, floor 5,000, 150 ft/s, 3 s a turn: 1,800 ft = 12.0 s = 4.0 turns left."""
    (card,) = budget(worked(turns)).cards
    assert card.enough
    assert card.expected_margin_ft == pytest.approx(BUDGET["left_ft"], abs=1.0)
    assert card.cautious_margin_ft == pytest.approx(BUDGET["left_ft"], abs=12.0)
    assert card.cautious_turns_left == pytest.approx(BUDGET["left_turns"], abs=0.03)
    assert card.cautious_seconds_left == pytest.approx(BUDGET["left_s"], abs=0.08)


def test_the_layers_are_the_bookkeeping() -> None:
    (card,) = budget(worked(3.0)).cards
    assert {part.name: round(part.loss_ft) for part in card.parts} == {
        "planned turns": 1_350,
        "dearer first turn": 0,
        "reaction": 300,
        "recovery turns": 900,
        "dive and pull-out": 2_000,
    }
    tops = [card.entry_ft, *[part.bottom_ft for part in card.parts]]
    assert tops[:-1] == [part.top_ft for part in card.parts]
    assert tops[-1] == pytest.approx(card.expected_level_ft)


def test_the_pull_out_costs_more_in_thinner_air() -> None:
    """Four turns from 20,000 ft + 1,800: the controls go in at 20,000 ft, where 0.65269 / 0.90464 of the density is."""
    plan = worked(4.0)
    density = {row[0]: row[3] for row in ISA}
    card = plan.cards[0].model_copy(update={"entry_altitude_ft": 21_800.0})
    (high,) = budget(plan.model_copy(update={"cards": [card]})).cards
    assert high.parts[-1].loss_ft == pytest.approx(2_000.0 * density[10_000] / density[20_000], rel=1e-3)


def test_the_first_turn_costs_twice_a_later_one_unless_the_plan_says_otherwise() -> None:
    """FAA Airplane Flying Handbook: about 1,000 ft for the first turn, about half for each later one."""
    priors = {"loss_per_turn_ft": sure(FIRST_TURN["later_ft"])}
    one, three = (
        budget(plan_from(good(**{"aircraft.priors": priors, "cards.0.turns": turns}))).cards[0] for turns in (1.0, 3.0)
    )
    paid = [sum(part.loss_ft for part in card.parts[:2]) for card in (one, three)]
    assert paid[0] == pytest.approx(FIRST_TURN["first_ft"], rel=1e-3)
    assert paid[1] == pytest.approx(FIRST_TURN["first_ft"] + 2 * FIRST_TURN["later_ft"], rel=1e-3)


def test_the_pull_out_is_the_closed_form() -> None:
    """No prior given: constant load factor, no drag, 150 kt at 2.5 g from 90 deg: 1,770.81 ft (check row)."""
    plan = plan_from(good(**{"aircraft.pull_out_speed_kt": 150.0, "aircraft.pull_out_load_factor_g": 2.5}))
    loss = budget(plan).cards[0].parts[-1].loss_ft
    assert pull_out_loss_m(150 * 1852 / 3600, 2.5, 1.5707963) / 0.3048 == pytest.approx(1_770.81, abs=0.02)
    assert loss == pytest.approx(1_770.81, rel=0.06)  # the median of the sum; a long tail sits on the mean


@pytest.mark.parametrize("entry_ft", [6_500.0, 9_000.0, 11_000.0])
def test_a_card_whose_entry_is_too_low_is_refused_by_name_and_amount(entry_ft: float) -> None:
    plan = plan_from(good(**{"cards.1.entry_altitude_ft": entry_ft}))
    first, second = budget(plan).cards
    assert first.enough
    assert not second.enough
    assert f"entry at {entry_ft:,.0f} ft is {second.shortfall_ft:,.0f} ft too low" in second.sentence
    assert 0.0 <= second.needed_entry_ft - (entry_ft + second.shortfall_ft) < 100.0
    for change, enough in ((-5.0, False), (5.0, True)):
        raised = plan_from(good(**{"cards.1.entry_altitude_ft": entry_ft + second.shortfall_ft + change}))
        assert budget(raised).enough is enough
    assert budget(plan_from(good(**{"cards.1.entry_altitude_ft": second.needed_entry_ft}))).enough


def test_earlier_spins_move_the_budget() -> None:
    plan = plan_from(good())
    believed = Beliefs.from_plan(plan)
    for spin in range(6):
        believed = believed.learn(Evidence("s", spin, 0, "upright", "right", "steep", 2.5, 700.0, 2_500.0))
    before, after = budget(plan).cards[0], budget(plan, believed).cards[0]
    assert (before.earlier_spins, after.earlier_spins) == (0, 6)
    assert after.needed_entry_ft > before.needed_entry_ft
    assert after.allowance_ft < before.allowance_ft + 400.0


def test_ground_reference_is_a_shift_of_everything() -> None:
    here = budget(plan_from(good(**{"floors.reference": "ground", "floors.ground_elevation_ft": 0.0})))
    there = budget(plan_from(good(**{"floors.reference": "ground", "floors.ground_elevation_ft": 3_000.0})))
    assert here.floors_ft["ground"] == there.floors_ft["ground"] == 0.0
    for a, b in zip(here.cards, there.cards, strict=True):
        assert [p.loss_ft for p in a.parts[:4]] == pytest.approx([p.loss_ft for p in b.parts[:4]])
        # only the pull-out knows the air: 3,000 ft higher it is thinner by about a tenth (standard atmosphere)
        assert b.parts[-1].loss_ft / a.parts[-1].loss_ft == pytest.approx(1.10, abs=0.02)


@given(st.floats(0.5, 8.0), st.floats(200.0, 1_000.0), st.floats(0.0, 3.0), st.floats(0.6, 0.99))
@settings(max_examples=30, deadline=None)
def test_more_of_anything_costs_more(turns: float, per_turn: float, reaction: float, bound: float) -> None:
    def needed(**more: float) -> float:
        values = {"turns": turns, "per_turn": per_turn, "reaction": reaction, "bound": bound} | more
        plan = plan_from(
            good(
                **{
                    "cards.0.turns": values["turns"],
                    "aircraft.priors.loss_per_turn_ft": {"mean": values["per_turn"], "standard_deviation": 80.0},
                    "timing.reaction_s": values["reaction"],
                    "cautious_bound": values["bound"],
                }
            )
        )
        card = budget(plan).cards[0]
        return card.entry_ft - card.cautious_margin_ft

    base = needed()
    assert needed(turns=turns + 1.0) > base
    assert needed(per_turn=per_turn + 100.0) > base
    assert needed(reaction=reaction + 1.0) > base
    assert needed(bound=bound + 0.5 * (1.0 - bound)) > base


def test_the_record_is_plain_json() -> None:
    record = json.loads(json.dumps(budget(plan_from(good())).as_record()))
    assert record["cards"][0]["sentence"].startswith("card R1: ")
    assert set(record["floors_ft"]) == {"recovery", "chute", "abandon", "ground"}
    assert record["enough"] is True
