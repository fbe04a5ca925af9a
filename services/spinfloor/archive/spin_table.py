"""The spin table: a run's spin rows with what a debrief asks beyond them, and the verdict by the plan's rule. Pure.

Added to each row of `archive.spins.spin_rows`, edge units, None where not known:
planned_turns of the card flown; seconds_held from the start to the recovery controls (to the end without any);
mean_seconds_per_turn and mean_loss_per_turn_ft over the whole turns after the first, which belongs to the incipient
phase; stop_loss_ft from the recovery controls to the end of the spin (what the rules count); loss_ft from the start to
level flight, or to the end where there was none; surprises in words; verdict as a record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from spinfloor.archive.spins import spin_rows
from spinfloor.core.events import Event, Json, Kind
from spinfloor.core.plan.judge import SpinFigures, judge
from spinfloor.core.plan.rules import RULES

Row = dict[str, Any]


def spin_table(events: Sequence[Event], plan: Mapping[str, Any]) -> list[Row]:
    """One row per spin of a run, in the order they began. events: of one run, in sequence. plan: plain data."""
    rows = spin_rows(events)
    parts = _per_spin(events)
    planned = {str(card["id"]): card.get("turns") for card in plan.get("cards") or ()}
    for ordinal, (row, own) in enumerate(zip(rows, parts, strict=True), start=1):
        row["spin"] = ordinal
        row["planned_turns"] = None if row["card"] is None else planned.get(str(row["card"]))
        _means(row, own)
        _derived(row)
        row["surprises"] = _surprises(own)
        row["verdict"] = verdict_of(row, str(plan.get("rule", "")))
    return rows


def verdict_of(row: Mapping[str, Any], rule: str) -> dict[str, Json] | None:
    """The verdict as a record; None while the spin has not ended or when no rule has this key."""
    if row["end_ns"] is None or rule not in RULES:
        return None
    figures = SpinFigures(
        turns_before=row["recovery_start_turns"],
        seconds_before=row["seconds_held"] if row["recovery_start_ns"] is not None else None,
        recovery_turns=row["recovery_turns"],
        recovery_loss_ft=row["stop_loss_ft"],
        turns_sd=row["turns_sd"],
        recovery_source=row["recovery_source"],
    )
    return judge(RULES[rule], figures).as_record()


def _per_spin(events: Sequence[Event]) -> list[list[Event]]:
    out: list[list[Event]] = []
    for event in events:
        if event.kind is Kind.SPIN_STARTED:
            out.append([])
        elif out:
            out[-1].append(event)
    return out


def _means(row: Row, events: Sequence[Event]) -> None:
    turns = [event.data for event in events if event.kind is Kind.SPIN_TURN]
    developed = turns[1:] or turns
    row["mean_seconds_per_turn"] = _mean(developed, "seconds")
    row["mean_loss_per_turn_ft"] = _mean(developed, "loss_ft")


def _mean(turns: Sequence[Mapping[str, Any]], name: str) -> float | None:
    values = [float(data[name]) for data in turns if data.get(name) is not None]
    return fmean(values) if values else None


def _derived(row: Row) -> None:
    held_until = row["recovery_start_ns"] if row["recovery_start_ns"] is not None else row["end_ns"]
    row["seconds_held"] = None if held_until is None else (held_until - row["start_ns"]) / 1e9
    row["stop_loss_ft"] = _minus(row["recovery_start_altitude_ft"], row["end_altitude_ft"])
    lowest = row["level_altitude_ft"] if row["level_altitude_ft"] is not None else row["end_altitude_ft"]
    row["loss_ft"] = _minus(row["start_altitude_ft"], lowest)
    if row["recovery_turns"] is None and row["end_ns"] is not None:
        row["recovery_turns"] = _minus(row["turns"], row["recovery_start_turns"])


def _minus(more: Any, less: Any) -> float | None:
    return None if more is None or less is None else float(more) - float(less)


def _surprises(events: Sequence[Event]) -> list[str]:
    return [
        str(what)
        for event in events
        if event.kind is Kind.RECOVERED
        for what in (event.data.get("surprises") or ())  # type: ignore[union-attr]  # a list by the contract
    ]
