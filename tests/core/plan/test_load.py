"""A plan from text or data: everything wrong with it at once, by path, and never anything but PlanError."""

import json
from typing import Any

import jsonschema_rs
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.plan.plans import GOOD, good

from spinfloor.core.plan.faults import Fault, PlanError
from spinfloor.core.plan.load import MOST_CHARACTERS, parse_plan, plan_from, plan_schema, plan_to_data
from spinfloor.core.plan.model import CallWords, Plan


def paths(data: object) -> dict[str, str]:
    """Path to sentence of every fault."""
    with pytest.raises(PlanError) as refused:
        plan_from(data)
    return {fault.path: fault.sentence for fault in refused.value.faults}


def test_a_fault_hides_no_other_of_the_same_part() -> None:
    card = GOOD["cards"][0]
    bad = good(
        **{
            "aircraft.pull_out_load_factor_g": 1.0,
            "aircraft.wings": 2,
            "floors.recovery_ft": 3_000.0,
            "floors.altimeter_setting_hpa": 29.92,
            "timing": {"reaction_s": "soon", "speaking_s": 4.0, "repeat_call_s": 2.0},
            "cards": [{**card, "direction": "up"}, {**card, "turns": 0, "entry_altitude_ft": 100.0}],
        }
    )
    assert paths(bad).keys() == {
        "aircraft.pull_out_load_factor_g", "aircraft.wings", "floors.altimeter_setting_hpa", "floors.recovery_ft",
        "floors.chute_ft", "timing.reaction_s", "timing.repeat_call_s", "cards[0].direction", "cards[1].id",
        "cards[1].turns", "cards[1].entry_altitude_ft",
    }  # fmt: skip
    hanging = good(**{"floors.recovery_ft": "low", "aircraft.chute_fitted": "yes", "cards": [{**card, "id": ""}]})
    assert paths(hanging).keys() == {"floors.recovery_ft", "aircraft.chute_fitted", "cards[0].id"}


def test_the_good_plan_is_good() -> None:
    plan = plan_from(GOOD)
    assert [card.id for card in plan.cards] == ["R1", "R3"]
    assert plan_from(plan_to_data(plan)) == plan
    assert parse_plan(yaml.safe_dump(plan_to_data(plan))) == plan
    assert parse_plan(json.dumps(GOOD)) == plan


def test_every_fault_at_once_schema_and_cross_checks_together() -> None:
    """Eight faults of different kinds in one plan; none hides another."""
    bad = good(
        **{
            "floors.recovery_ft": 3_000.0,  # below the abandon floor, and below the chute floor
            "aircraft.pull_out_load_factor_g": 1.0,  # no pull-out
            "aircraft.wing_span_m": 11.0,  # no such field
            "timing": {"speaking_s": 3.0, "repeat_call_s": 2.0},
            "call_words": {"recover": "Abandon"},
            "rule": "no-such-rule",
            "cards.1.id": "R1",
            "cards.1.turns": -3,
            "cards.0.entry_altitude_ft": 2_500.0,
            "cards.0.direction": "up",
            "title": ...,
        }
    )
    found = paths(bad)
    assert set(found) >= {
        "title",
        "aircraft.pull_out_load_factor_g",
        "aircraft.wing_span_m",
        "floors.recovery_ft",
        "floors.chute_ft",
        "timing.repeat_call_s",
        "call_words.abandon",
        "rule",
        "cards[1].turns",
        "cards[0].direction",
    }
    assert "above the abandon floor of 4000 ft" in found["floors.recovery_ft"]
    assert found["title"] == "title: expected a value; got nothing"
    assert "no key of this name" in found["aircraft.wing_span_m"]


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"floors.abandon_ft": 6_000.0}, "floors.recovery_ft"),
        ({"floors.chute_ft": 6_500.0}, "floors.chute_ft"),
        ({"floors.chute_ft": 3_500.0}, "floors.chute_ft"),
        ({"floors.chute_ft": None}, "floors.chute_ft"),
        ({"aircraft.chute_fitted": False}, "aircraft.chute_fitted"),
        ({"floors.reference": "ground", "floors.abandon_ft": -10.0}, "floors.abandon_ft"),
        ({"floors.reference": "sea level", "floors.ground_elevation_ft": 4_100.0}, "floors.abandon_ft"),
        ({"floors.reference": "the moon"}, "floors.reference"),
        ({"cards.0.entry_altitude_ft": 6_000.0}, "cards[0].entry_altitude_ft"),
        ({"cards.1.id": "R1"}, "cards[1].id"),
        ({"cards.1.id": "two words"}, "cards[1].id"),
        ({"cards": []}, "cards"),
        ({"cards": "R1"}, "cards"),
        ({"timing.repeat_call_s": 1.0, "timing.speaking_s": 1.5}, "timing.repeat_call_s"),
        ({"call_words": {"chute": "recover"}}, "call_words.chute"),
        ({"call_words": {"chute": " "}}, "call_words.chute"),
        ({"aircraft.pull_out_load_factor_g": 0.9}, "aircraft.pull_out_load_factor_g"),
        ({"aircraft.priors": {"recovery_turns": {"mean": 1.0}}}, "aircraft.priors.recovery_turns.standard_deviation"),
        ({"cautious_bound": 1.0}, "cautious_bound"),
        ({"cautious_bound": float("nan")}, "cautious_bound"),
        ({"floors.recovery_ft": "6000"}, "floors.recovery_ft"),
        ({"floors.recovery_ft": True}, "floors.recovery_ft"),
        ({"version": 2}, "version"),
        ({"rule": "23.221"}, "rule"),
        ({"channel_map": {"columns": {"no_such": {"source": "A"}}}}, "channel_map.columns"),
    ],
)
def test_one_fault_is_named_by_its_path(changes: dict[str, Any], path: str) -> None:
    assert path in paths(good(**changes))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("title: a\ntitle: b", "duplicate key 'title'"),
        ('{"title": "a", "title": "b"}', "duplicate key 'title'"),
        ("a: &x 1\nb: *x", "aliases are not taken"),
        ("1: 2", "a key is not text"),
        ("{", "readable YAML or JSON"),
        ("- a\n- b", "a mapping with title"),
        ("", "a mapping with title"),
        ("a: !!python/object/apply:os.system [ls]", "could not determine a constructor"),
        ("[" * 5_000, "very deep nesting"),
        ("a: [" * 400, ""),
        ("x" * (MOST_CHARACTERS + 1), "at most"),
    ],
)
def test_text_that_is_no_plan(text: str, words: str) -> None:
    with pytest.raises(PlanError) as refused:
        parse_plan(text)
    assert words in refused.value.sentence


def test_numbers_with_an_exponent_are_numbers() -> None:
    text = yaml.safe_dump(GOOD).replace("6000.0", "6e3")
    assert parse_plan(text).floors.recovery_ft == 6_000.0


json_like = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
FIELDS = ["title", "aircraft", "floors", "timing", "rule", "cards", "call_words", "channel_map", "floors.chute_ft"]


@given(st.sampled_from([*FIELDS, "cards.0", "cards.0.turns", "aircraft.priors"]), json_like)
@settings(max_examples=200, deadline=None)
def test_any_value_anywhere_is_a_plan_or_a_plan_error(path: str, value: object) -> None:
    faults: tuple[Fault, ...] = ()
    try:
        assert isinstance(plan_from(good(**{path: value})), Plan)
    except PlanError as error:
        faults = error.faults
    assert all(fault.expected and fault.got for fault in faults)


def test_the_schema_is_a_schema_and_agrees_with_the_loader() -> None:
    """The published schema by an independent validator: takes the good plan, refuses what the loader's model refuses."""
    schema = plan_schema()
    jsonschema_rs.meta.validate(schema)
    validator = jsonschema_rs.Draft202012Validator(schema)
    assert validator.is_valid(GOOD)
    for changes in ({"cards.0.turns": -1}, {"title": ...}, {"aircraft.wing": 1}, {"cautious_bound": 2.0}):
        assert not validator.is_valid(good(**changes))
        assert paths(good(**changes))


def test_call_words_are_the_plans() -> None:
    plan = plan_from(good(call_words={"recover": "controls now", "abandon": "get out"}))
    assert plan.call_words.recover == "controls now"
    assert plan.call_words.chute == CallWords().chute
