"""One row per spin, from a sortie's events alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from spinfloor.core.events import CALLS, Call, Event, Kind

Row = dict[str, Any]


def spin_rows(events: Iterable[Event]) -> list[Row]:
    """The spins in the order they began; what has not happened (yet) is None.

    Times are ns of the source; turns about the flight path unless the name says otherwise.
    """
    rows: list[Row] = []
    for event in events:
        if event.kind is Kind.SPIN_STARTED:
            rows.append(_begun(event))
        elif rows and event.kind in _TAKE:
            _TAKE[event.kind](rows[-1], event)
    return rows


def _begun(event: Event) -> Row:
    data = event.data
    return {
        "spin": data.get("spin"),
        "card": None,
        "orientation": data.get("orientation"),
        "direction": data.get("direction"),
        "sense_from_above": data.get("sense_from_above"),
        "mode": None,
        "oscillatory": None,
        "start_ns": event.time_ns,
        "start_known_ns": event.detected_ns,
        "start_altitude_ft": data.get("altitude_ft"),
        "turns": None,
        "turns_about_vertical": None,
        "turns_sd": None,
        "seconds_per_turn": None,
        "loss_per_turn_ft": None,
        "recovery_start_ns": None,
        "recovery_start_turns": None,
        "recovery_start_altitude_ft": None,
        "recovery_source": None,
        "end_ns": None,
        "end_altitude_ft": None,
        "recovery_turns": None,
        "spin_loss_ft": None,
        "level_ns": None,
        "level_altitude_ft": None,
        "recovery_loss_ft": None,
        "margin_ft": None,
        "predicted_margin_ft": None,
        "predicted_bound_margin_ft": None,
        "surprise": None,
        "highest_call": None,
        "calls": 0,
        "floors_crossed": [],
        "reversed": data.get("reversed"),
        "restarted": data.get("restarted"),
        "turned_inverted": data.get("turned_inverted"),
        "estimated": False,
        "evidence": data.get("evidence"),
        "whole_turns": 0,
    }


def _turn(row: Row, event: Event) -> None:
    data = event.data
    row["whole_turns"] += 1
    row["turns"] = data.get("turns")
    row["turns_about_vertical"] = data.get("turns_about_vertical")
    row["seconds_per_turn"] = data.get("seconds")
    row["loss_per_turn_ft"] = data.get("loss_ft")
    row["estimated"] = row["estimated"] or bool(data.get("estimated"))


def _mode(row: Row, event: Event) -> None:
    row["mode"] = event.data.get("mode")
    row["oscillatory"] = event.data.get("oscillatory")


def _recovery(row: Row, event: Event) -> None:
    row["recovery_start_ns"] = event.time_ns
    row["recovery_start_turns"] = event.data.get("turns")
    row["recovery_start_altitude_ft"] = event.data.get("altitude_ft")
    row["recovery_source"] = event.data.get("source")


def _ended(row: Row, event: Event) -> None:
    data = event.data
    row["end_ns"] = event.time_ns
    row["end_altitude_ft"] = data.get("altitude_ft")
    row["turns"] = data.get("turns")
    row["turns_about_vertical"] = data.get("turns_about_vertical")
    row["turns_sd"] = data.get("turns_sd")
    row["recovery_turns"] = data.get("recovery_turns")
    row["spin_loss_ft"] = data.get("loss_ft")
    row["evidence"] = data.get("evidence", row["evidence"])


def _recovered(row: Row, event: Event) -> None:
    data = event.data
    row["level_ns"] = event.time_ns
    row["level_altitude_ft"] = data.get("altitude_ft")
    row["recovery_loss_ft"] = data.get("loss_ft")
    for name in ("margin_ft", "predicted_margin_ft", "predicted_bound_margin_ft", "surprise", "card"):
        row[name] = data.get(name)


def _call(row: Row, event: Event) -> None:
    call = Call(str(event.data["call"]))
    row["calls"] += 1
    if row["highest_call"] is None or CALLS.index(call) > CALLS.index(row["highest_call"]):
        row["highest_call"] = call.value
    if row["card"] is None:
        row["card"] = event.data.get("card")


def _floor(row: Row, event: Event) -> None:
    row["floors_crossed"].append(event.data.get("floor"))


_TAKE: dict[Kind, Callable[[Row, Event], None]] = {
    Kind.SPIN_TURN: _turn,
    Kind.SPIN_MODE: _mode,
    Kind.RECOVERY_STARTED: _recovery,
    Kind.SPIN_ENDED: _ended,
    Kind.RECOVERED: _recovered,
    Kind.CALL: _call,
    Kind.FLOOR_CROSSED: _floor,
}
