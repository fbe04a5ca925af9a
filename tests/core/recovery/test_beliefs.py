"""Beliefs as a value: what goes in and out of storage, versions, taking back, and that nothing is changed in place."""

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spinfloor.core.plan.model import Plan, Prior
from spinfloor.core.recovery.beliefs import Beliefs, BeliefsError, Evidence, Prediction

evidence = st.builds(
    Evidence,
    sortie=st.sampled_from(["s1", "s2", "s3"]),
    spin=st.integers(1, 4),
    time_ns=st.integers(0, 2**62),
    orientation=st.sampled_from(["upright", "inverted"]),
    direction=st.sampled_from(["left", "right"]),
    mode=st.sampled_from([None, "steep", "moderately steep", "moderately flat", "flat"]),
    recovery_turns=st.floats(0.0, 5.0),
    loss_per_turn_ft=st.none() | st.floats(100.0, 1_000.0),
    pull_out_loss_ft=st.floats(100.0, 4_000.0),
    surprise=st.booleans(),
)


def start() -> Beliefs:
    prior = Prior(mean=1.0, standard_deviation=0.5)
    feet = Prior(mean=500.0, standard_deviation=150.0)
    return Beliefs("Tessary 2", {"recovery_turns": prior, "loss_per_turn_ft": feet, "pull_out_loss_ft": feet})


@given(st.lists(evidence, max_size=12), st.none() | st.text(max_size=20))
@settings(max_examples=60, deadline=None)
def test_through_json_and_back(items: list[Evidence], reason: str | None) -> None:
    beliefs = start()
    if reason is not None:
        beliefs = beliefs.reset(reason)
    for item in items:
        beliefs = beliefs.learn(item)
    again = Beliefs.from_json(json.loads(json.dumps(beliefs.as_json())))
    assert again == beliefs
    assert again.record().tobytes() == beliefs.record().tobytes()


@given(st.lists(evidence, min_size=1, max_size=8))
@settings(max_examples=40, deadline=None)
def test_learning_makes_a_new_value_with_the_next_revision(items: list[Evidence]) -> None:
    beliefs = start()
    before = beliefs.as_json()
    seen: set[tuple[str, int]] = set()
    later = beliefs
    for item in items:
        learnt = later.learn(item)
        new = (item.sortie, item.spin) not in seen
        assert learnt.revision == later.revision + new
        seen.add((item.sortie, item.spin))
        later = learnt
    assert beliefs.as_json() == before
    assert len(later.evidence) == len(seen)
    for sortie, spin in seen:
        later = later.without(sortie, spin)
    assert later.evidence == ()
    assert later.record().tobytes() == beliefs.record().tobytes()
    assert later.revision == 2 * len(seen)
    assert later.without("s1", 1) is later


def test_reset_keeps_the_reason_and_the_count() -> None:
    item = Evidence("s1", 1, 0, "upright", "right", "steep", 1.2, 400.0, 900.0)
    beliefs = start().learn(item).reset("new tail fitted")
    assert (beliefs.evidence, beliefs.revision, beliefs.reset_reason) == ((), 2, "new tail fitted")
    assert beliefs.record().tobytes() == start().record().tobytes()  # the same predictions
    assert beliefs.record().tobytes() != start().learn(item).record().tobytes()


@pytest.mark.parametrize(
    "change",
    [
        {"schema_version": 0},
        {"schema_version": 99},
        {"schema_version": ...},
        {"priors": {}},
        {"priors": {"recovery_turns": {"mean": -1.0, "standard_deviation": 1.0}}},
        {"evidence": [{"sortie": "s1"}]},
        {"evidence": [{"nonsense": 1}]},
        {"evidence": 3},
        {"revision": "many"},
        {"aircraft": ...},
    ],
)
def test_stored_beliefs_of_another_kind_are_refused(change: dict[str, Any]) -> None:
    stored: dict[str, Any] = dict(start().as_json())
    for key, value in change.items():
        if value is ...:
            del stored[key]
        else:
            stored[key] = value
    with pytest.raises(BeliefsError, match="the beliefs were not loaded and nothing was changed"):
        Beliefs.from_json(stored)


def test_evidence_from_a_recovered_event() -> None:
    data: dict[str, Any] = {
        "orientation": "inverted", "direction": "left", "mode": "steep", "recovery_turns": 0.8, "loss_ft": 2_000.0,
        "loss_per_turn_ft": None, "pull_out_loss_ft": 1_600.0, "surprise": True,
    }  # fmt: skip
    record = {"sortie": "s1", "time_ns": 5, "data": data}
    assert Evidence.of_event(record, 2) == Evidence("s1", 2, 5, "inverted", "left", "steep", 0.8, None, 1_600.0, True)
    for nothing in (
        {"recovery_turns": None},
        {"orientation": None},
        {"recovery_turns": -0.1},
        {"loss_ft": 0.0},
        {"recovery_source": "inferred"},
    ):
        assert Evidence.of_event({**record, "data": {**data, **nothing}}, 2) is None


def test_predictions_tighten_and_other_priors_keep_the_evidence(plan: Plan) -> None:
    beliefs = Beliefs.from_plan(plan)
    wide = beliefs.predict("upright", "right", "steep")["pull_out_loss_ft"]
    for spin in range(8):
        beliefs = beliefs.learn(Evidence("s1", spin, 0, "upright", "right", "steep", 1.0, 480.0, 1_400.0 + 20 * spin))
    tight = beliefs.predict("upright", "right", "steep")["pull_out_loss_ft"]
    assert tight.own_spins == 8
    assert tight.quantile(0.95) - tight.location < 0.4 * (wide.quantile(0.95) - wide.location)
    priors = plan.aircraft.priors.model_copy(update={"pull_out_loss_ft": Prior(mean=3_000.0, standard_deviation=1.0)})
    other = plan.model_copy(update={"aircraft": plan.aircraft.model_copy(update={"priors": priors})})
    moved = beliefs.with_priors(other)
    assert moved.evidence == beliefs.evidence
    assert moved.revision == beliefs.revision + 1
    assert moved.predict("upright", "right", "steep")["pull_out_loss_ft"].location > tight.location


@pytest.mark.parametrize("probability", [0.05, 0.5, 0.9, 0.95, 0.995])
def test_quantiles_are_students(probability: float) -> None:
    found = Prediction(10.0, 2.0, 7.5, 4).quantile(probability)
    assert found == pytest.approx(stats.t.ppf(probability, 7.5, 10.0, 2.0), rel=2e-3)
    assert replace(Prediction(10.0, 2.0, 7.5, 4)).standard_deviation == pytest.approx(stats.t.std(7.5, 10.0, 2.0))
