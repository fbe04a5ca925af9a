"""The spin table, from the contract's events."""

from typing import Any

import pytest

from spinfloor.archive.spin_table import spin_table
from spinfloor.core.events import Event, Kind

S = 1_000_000_000


def event(kind: str, at: float, /, **data: Any) -> Event:
    return Event("s-1", "run", 0, Kind(kind), int(at * S), int(at * S) + S, data)


ONE = [
    event("phase", 8.0, **{"from": "flight", "to": "departure"}),
    event("spin.started", 10.0, orientation="upright", direction="right", altitude_ft=12_000.0),
    event("spin.turn", 13.0, turns=1, turns_about_vertical=0.6, altitude_ft=11_300.0, loss_ft=700.0, seconds=3.0),
    event("spin.mode", 14.0, mode="moderately steep", oscillatory=True, alpha_deg=37.0, seconds_per_turn=2.6),
    event("spin.turn", 15.5, turns=2, turns_about_vertical=1.6, altitude_ft=10_900.0, loss_ft=400.0, seconds=2.5),
    event("spin.turn", 17.9, turns=3, turns_about_vertical=2.6, altitude_ft=10_480.0, loss_ft=420.0, seconds=2.4),
    event("call", 17.5, call="recover", words="recover", card="u-r-3"),
    event("call", 17.6, call="turn", words="three"),
    event("recovery.started", 18.0, turns=3.05, altitude_ft=10_470.0, source="control telemetry"),
    event("spin.ended", 20.0, turns=3.9, turns_about_vertical=3.4, recovery_turns=0.85, altitude_ft=10_200.0),
    event("recovered", 29.0, altitude_ft=8_900.0, loss_ft=1_570.0, margin_ft=3_900.0, predicted_margin_ft=3_700.0,
          surprise=True, surprises=["recovery turns"], card="u-r-3"),
]  # fmt: skip


PLAN = {"rule": "14-cfr-23.221-normal", "cards": [{"id": "u-r-3", "turns": 3.0}]}


def test_a_whole_spin() -> None:
    (row,) = spin_table(ONE, PLAN)
    assert (row["spin"], row["card"], row["planned_turns"], row["highest_call"]) == (1, "u-r-3", 3.0, "recover")
    assert (row["recovery_start_turns"], row["turns"], row["recovery_turns"]) == (3.05, 3.9, 0.85)
    assert row["seconds_held"] == pytest.approx(8.0)
    # the first turn belongs to the incipient phase: the means are over the turns after it
    assert row["mean_seconds_per_turn"] == pytest.approx((2.5 + 2.4) / 2)
    assert row["mean_loss_per_turn_ft"] == pytest.approx((400.0 + 420.0) / 2)
    assert row["loss_ft"] == pytest.approx(12_000.0 - 8_900.0)
    assert row["stop_loss_ft"] == pytest.approx(10_470.0 - 10_200.0)
    assert row["recovery_loss_ft"] == 1_570.0
    assert row["surprises"] == ["recovery turns"]


def test_the_verdict_carries_its_numbers_and_clause() -> None:
    (row,) = spin_table(ONE, PLAN)
    assert row["verdict"]["outcome"] == "within"
    assert row["verdict"]["clause"] == "(a)(1)"
    assert "recovery turns: 0.85 turns, limit 1 turn" in row["verdict"]["sentence"]


# 14 CFR 23.221(a): not more than one additional turn, so exactly one is within (1-1-2014 edition, p. 206)
@pytest.mark.parametrize(("turns", "outcome"), [(0.99, "within"), (1.0, "within"), (1.01, "exceeded")])
def test_the_limit_itself_is_within(turns: float, outcome: str) -> None:
    events = [
        e if e.kind is not Kind.SPIN_ENDED else event("spin.ended", 20.0, turns=4.0, recovery_turns=turns) for e in ONE
    ]
    (row,) = spin_table(events, PLAN)
    assert row["verdict"]["outcome"] == outcome


@pytest.mark.parametrize(
    ("controls_s", "recovery_turns", "outcome"),
    [(10.0, 1.10, "exceeded"), (10.5, 0.933, "within")],
)
def test_the_clock_runs_from_the_first_control_movement(controls_s: float, recovery_turns: float, outcome: str) -> None:
    """A half-second ramp at 120 deg/s is a sixth of a turn: 1.10 turns from the first movement, 0.93 from full travel."""
    flown = [
        event("spin.started", 0.0),
        event("recovery.started", controls_s, turns=controls_s / 3.0, altitude_ft=9_000.0, source="inferred"),
        event("spin.ended", 13.3, turns=13.3 / 3.0, turns_sd=0.04, altitude_ft=8_700.0),
    ]
    (row,) = spin_table(flown, PLAN)
    assert row["seconds_held"] == pytest.approx(controls_s)
    assert row["recovery_turns"] == pytest.approx(recovery_turns, abs=5e-4)
    assert row["verdict"]["outcome"] == outcome
    assert "first recovery control not from control telemetry: inferred from the motion" in row["verdict"]["notes"]
    close = [note for note in row["verdict"]["notes"] if note.startswith("within two standard uncertainties")]
    assert len(close) == (outcome == "within")  # 0.93 is 0.07 from the limit, less than 2 x 0.04; 1.10 is not


def test_a_spin_without_recovery_controls_or_end_keeps_its_unknowns() -> None:
    (row,) = spin_table(ONE[:3], PLAN)
    assert row["turns"] == 1
    unknown = ("recovery_start_turns", "recovery_turns", "end_ns", "loss_ft", "margin_ft", "verdict", "stop_loss_ft")
    assert [row[name] for name in unknown] == [None] * len(unknown)


def test_a_spin_entered_from_the_recovery_of_another_is_its_own_row() -> None:
    first, second = spin_table([*ONE[:-1], *ONE[1:]], PLAN)
    assert (first["spin"], second["spin"]) == (1, 2)
    assert first["level_ns"] is None
    assert second["level_ns"] == 29 * S


def test_an_unknown_rule_gives_no_verdict() -> None:
    (row,) = spin_table(ONE, {"rule": "none such"})
    assert row["verdict"] is None
    assert row["planned_turns"] is None


def test_no_events_no_rows() -> None:
    assert spin_table([], PLAN) == []
