"""A programme over several flights: gate, sign-offs, learning, open points."""

from typing import Any

import pytest

from spinfloor.archive.programme import FlownSortie, open_points, programme, results_of
from spinfloor.core.plan.gate import SignOff
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs, Evidence

PLAN = Plan.model_validate(
    {
        "title": "Tessary build-up",
        "aircraft": {"name": "Tessary 2"},
        "floors": {"recovery_ft": 5_000, "abandon_ft": 3_000},
        "cards": [
            {"id": f"r{turns}", "direction": "right", "turns": turns, "entry_altitude_ft": 14_000}
            for turns in (1, 3, 5)
        ],
    }
)


def row(spin: int, card: str | None, **changes: Any) -> dict[str, Any]:
    base: dict[str, Any] = {
        "spin": spin,
        "card": card,
        "orientation": "upright",
        "direction": "right",
        "mode": "steep",
        "surprises": [],
        "margin_ft": 2_000.0,
        "verdict": {"outcome": "within"},
    }
    return {**base, **changes}


def flight(name: str, *rows: dict[str, Any]) -> FlownSortie:
    return FlownSortie(name, name, 0, rows)


def beliefs(count: int) -> Beliefs:
    out = Beliefs.from_plan(PLAN)
    for spin in range(1, count + 1):
        out = out.learn(Evidence("f1", spin, spin, "upright", "right", "steep", 0.8, 320.0, 1_400.0))
    return out


def states(summary: dict[str, Any]) -> dict[str, str]:
    return {card["card"]: card["state"] for card in summary["gate"]}


def test_the_next_card_opens_after_the_one_before() -> None:
    summary = programme("Tessary 2", [flight("f1", row(1, "r1"))], beliefs(1), [], PLAN, 1)
    assert states(summary) == {"r1": "flown", "r3": "open", "r5": "closed"}
    assert summary["next_card"] == "r3"


@pytest.mark.parametrize(
    "trouble",
    [{"surprises": ["recovery turns"]}, {"margin_ft": -120.0}, {"verdict": {"outcome": "exceeded"}}],
    ids=["surprise", "below the floor", "beyond the rule"],
)
def test_trouble_closes_the_next_card_until_it_is_signed_off(trouble: dict[str, Any]) -> None:
    flights = [flight("f1", row(1, "r1", **trouble))]
    closed = programme("Tessary 2", flights, beliefs(1), [], PLAN, 1)
    assert states(closed)["r3"] == "closed"
    (point,) = closed["surprises"]
    assert (point["sortie"], point["spin"], point["signed_off"]) == ("f1", 1, None)

    signed = SignOff("f1", 1, "test conductor", "controls were held for the camera", 7)
    opened = programme("Tessary 2", flights, beliefs(1), [signed], PLAN, 1)
    assert states(opened)["r3"] == "open"
    (point,) = opened["surprises"]
    assert point["signed_off"] == {"by": "test conductor", "reason": "controls were held for the camera", "time_ns": 7}


def test_a_sign_off_of_another_spin_opens_nothing() -> None:
    flights = [flight("f1", row(1, "r1", surprises=["recovery turns"]))]
    other = SignOff("f1", 2, "test conductor", "another spin", 7)
    assert states(programme("Tessary 2", flights, beliefs(1), [other], PLAN, 1))["r3"] == "closed"


def test_what_is_learnt_narrows_the_interval() -> None:
    flights = [flight("f1", row(1, "r1"))]

    def width(count: int) -> float:
        (kind,) = programme("Tessary 2", flights, beliefs(count), [], PLAN, 1)["kinds"]
        now = kind["quantities"]["recovery_turns"]["now"]
        assert kind["own_spins"] == count
        return float(now["high"] - now["low"])

    assert width(10) < width(3) < width(0)


def test_before_any_spin_the_prediction_is_the_prior() -> None:
    (kind,) = programme("Tessary 2", [flight("f1", row(1, None))], beliefs(0), [], PLAN, 0)["kinds"]
    for quantity in kind["quantities"].values():
        assert quantity["now"] == quantity["prior"]


def test_each_spin_names_its_sortie_and_kinds_are_listed_once() -> None:
    flights = [
        flight("f1", row(1, "r1"), row(2, "r3")),
        flight("f2", row(1, None, direction="left", orientation="inverted")),
    ]
    summary = programme("Tessary 2", flights, beliefs(0), [], PLAN, 0)
    assert [(spin["sortie"], spin["spin"]) for spin in summary["spins"]] == [("f1", 1), ("f1", 2), ("f2", 1)]
    assert [(kind["orientation"], kind["direction"]) for kind in summary["kinds"]] == [
        ("upright", "right"),
        ("inverted", "left"),
    ]


def test_nothing_flown() -> None:
    summary = programme("Tessary 2", [], beliefs(0), [], PLAN, 0)
    assert (summary["spins"], summary["kinds"], summary["surprises"]) == ([], [], [])
    assert states(summary) == {"r1": "open", "r3": "closed", "r5": "closed"}


def test_no_open_point_without_an_objection() -> None:
    assert open_points(results_of([flight("f1", row(1, "r1", verdict=None))]), []) == []
