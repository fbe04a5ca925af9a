"""One row per spin, from the contract's events."""

from typing import Any

import pytest

from spinfloor.archive.spin_rows import ROW_KEYS, spin_rows

S = 1_000_000_000


def event(kind: str, at: float, /, **data: Any) -> dict[str, Any]:
    return {"kind": kind, "time_ns": int(at * S), "detected_ns": int(at * S) + S, "data": data}


ONE = [
    event("phase", 8.0, **{"from": "flight", "to": "departure"}),
    event("spin.started", 10.0, orientation="upright", direction="right", altitude_ft=12_000.0, card="u-r-3"),
    event("spin.turn", 13.0, turns=1, turns_about_vertical=0.6, altitude_ft=11_300.0, loss_ft=700.0, seconds=3.0),
    event("spin.mode", 14.0, mode="moderately steep", oscillatory=True, alpha_deg=37.0, seconds_per_turn=2.6),
    event("spin.turn", 15.5, turns=2, turns_about_vertical=1.6, altitude_ft=10_900.0, loss_ft=400.0, seconds=2.5),
    event("spin.turn", 17.9, turns=3, turns_about_vertical=2.6, altitude_ft=10_480.0, loss_ft=420.0, seconds=2.4),
    event("call", 17.5, call="recover", words="recover"),
    event("call", 17.6, call="turn", words="three"),
    event("recovery.started", 18.0, turns=3.05, altitude_ft=10_470.0, source="control telemetry"),
    event("spin.ended", 20.0, turns=3.9, turns_about_vertical=3.4, recovery_turns=0.85, altitude_ft=10_200.0),
    event("recovered", 29.0, altitude_ft=8_900.0, loss_ft=1_570.0, margin_ft=3_900.0, predicted_margin_ft=3_700.0,
          surprise=["recovery turns"]),
]  # fmt: skip


def test_a_whole_spin() -> None:
    (row,) = spin_rows(ONE, cards=[{"id": "u-r-3", "turns": 3.0}])
    assert tuple(row) == ROW_KEYS
    assert (row["card"], row["planned_turns"], row["highest_call"]) == ("u-r-3", 3.0, "recover")
    assert (row["turns_held"], row["turns"], row["recovery_turns"]) == (3.05, 3.9, 0.85)
    assert row["seconds_held"] == pytest.approx(8.0)
    # the first turn belongs to the incipient phase: the means are over the turns after it
    assert row["seconds_per_turn"] == pytest.approx((2.5 + 2.4) / 2)
    assert row["loss_per_turn_ft"] == pytest.approx((400.0 + 420.0) / 2)
    assert row["loss_ft"] == pytest.approx(12_000.0 - 8_900.0)
    assert row["recovery_loss_ft"] == 1_570.0
    assert row["surprise"] == ["recovery turns"]


def test_a_spin_without_recovery_controls_or_end_keeps_its_unknowns() -> None:
    (row,) = spin_rows(ONE[:3])
    assert row["turns"] == 1
    assert [row[name] for name in ("turns_held", "recovery_turns", "ended_ns", "loss_ft", "margin_ft")] == [None] * 5


def test_a_spin_entered_from_the_recovery_of_another_is_its_own_row() -> None:
    first, second = spin_rows([*ONE[:-1], *ONE[1:]])
    assert (first["ordinal"], second["ordinal"]) == (1, 2)
    assert first["level_ns"] is None
    assert second["level_ns"] == 29 * S


def test_no_events_no_rows() -> None:
    assert spin_rows([]) == []
