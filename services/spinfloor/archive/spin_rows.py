"""From a run's events to one row per spin: what the spin table, the report and the programme are made of.

Pure: events in stream order in, plain rows out. Edge units with the unit in each name; None where not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import fmean
from typing import Any, Final

Row = dict[str, Any]
Record = Mapping[str, Any]

# Every row has these keys, in this order, whatever happened in the spin.
ROW_KEYS: Final = (
    "ordinal",
    "card",
    "planned_turns",
    "started_ns",
    "orientation",
    "direction",
    "sense_from_above",
    "mode",
    "oscillatory",
    "alpha_deg",
    "entry_altitude_ft",
    "turns_held",
    "turns",
    "turns_about_vertical",
    "seconds_held",
    "seconds_per_turn",
    "loss_per_turn_ft",
    "recovery_source",
    "recovery_ns",
    "recovery_altitude_ft",
    "recovery_turns",
    "ended_ns",
    "end_altitude_ft",
    "level_ns",
    "level_altitude_ft",
    "recovery_loss_ft",
    "loss_ft",
    "margin_ft",
    "predicted_margin_ft",
    "predicted_bound_margin_ft",
    "surprise",
    "highest_call",
    "estimated",
)
CALL_ORDER: Final = ("status", "turn", "caution", "recover", "chute", "abandon")


def spin_rows(events: Iterable[Record], *, cards: Sequence[Record] = ()) -> list[Row]:
    """One row per `spin.started`, in order. `cards` are the plan's, for the planned turns of the card flown.

    events: records of one run (kind, time_ns, data), in sequence.
    """
    rows: list[Row] = []
    for event in events:
        kind, data = str(event["kind"]), event["data"]
        if kind == "spin.started":
            rows.append(_begun(len(rows) + 1, int(event["time_ns"]), data))
        elif rows and kind in _TAKE:
            _TAKE[kind](rows[-1], int(event["time_ns"]), data)
    planned = {str(card["id"]): card.get("turns") for card in cards}
    return [_finished(row, planned) for row in rows]


def _begun(ordinal: int, time_ns: int, data: Record) -> Row:
    row: Row = dict.fromkeys(ROW_KEYS)
    row.update(
        ordinal=ordinal,
        card=data.get("card"),
        planned_turns=data.get("planned_turns"),
        started_ns=time_ns,
        entry_altitude_ft=data.get("altitude_ft"),
        surprise=[],
        estimated=False,
        _turns=[],
    )
    for name in ("orientation", "direction", "sense_from_above"):
        row[name] = data.get(name)
    return row


def _turn(row: Row, _time_ns: int, data: Record) -> None:
    row["_turns"].append(data)
    row["turns"] = data.get("turns")
    row["turns_about_vertical"] = data.get("turns_about_vertical")


def _mode(row: Row, _time_ns: int, data: Record) -> None:
    for name in ("mode", "oscillatory", "alpha_deg"):
        if data.get(name) is not None:
            row[name] = data[name]
    if row["seconds_per_turn"] is None:
        row["seconds_per_turn"] = data.get("seconds_per_turn")


def _controls(row: Row, time_ns: int, data: Record) -> None:
    row.update(
        recovery_ns=time_ns,
        turns_held=data.get("turns"),
        recovery_altitude_ft=data.get("altitude_ft"),
        recovery_source=data.get("source"),
    )


def _ended(row: Row, time_ns: int, data: Record) -> None:
    row.update(
        ended_ns=time_ns,
        turns=data.get("turns"),
        turns_about_vertical=data.get("turns_about_vertical"),
        recovery_turns=data.get("recovery_turns"),
        end_altitude_ft=data.get("altitude_ft"),
    )


def _recovered(row: Row, time_ns: int, data: Record) -> None:
    row.update(
        level_ns=time_ns,
        level_altitude_ft=data.get("altitude_ft"),
        recovery_loss_ft=data.get("loss_ft"),
        margin_ft=data.get("margin_ft"),
        predicted_margin_ft=data.get("predicted_margin_ft"),
        predicted_bound_margin_ft=data.get("predicted_bound_margin_ft"),
        surprise=surprises(data),
        card=data.get("card") or row["card"],
    )


def _call(row: Row, _time_ns: int, data: Record) -> None:
    call = data.get("call")
    order = {name: place for place, name in enumerate(CALL_ORDER)}
    if order.get(str(call), -1) > order.get(str(row["highest_call"]), -1):
        row["highest_call"] = call
    row["estimated"] = row["estimated"] or bool(data.get("estimated"))
    row["card"] = data.get("card") or row["card"]


def surprises(data: Record) -> list[str]:
    """What of a recovery lay outside the 99 % prediction, in words; empty when nothing did or nothing was predicted."""
    found = data.get("surprise")
    if not found:
        return []
    if isinstance(found, Mapping):
        return [str(name).replace("_", " ") for name, out in found.items() if out]
    if isinstance(found, str):
        return [found]
    return [str(part) for part in found] if isinstance(found, list | tuple) else ["outside the 99 % prediction"]


_TAKE = {
    "spin.turn": _turn,
    "spin.mode": _mode,
    "recovery.started": _controls,
    "spin.ended": _ended,
    "recovered": _recovered,
    "call": _call,
}


def _finished(row: Row, planned: Mapping[str, Any]) -> Row:
    turns = row.pop("_turns")
    full = [data for data in turns if _number(data.get("seconds")) and _number(data.get("loss_ft"))]
    developed = full[1:] or full
    if developed:
        row["seconds_per_turn"] = fmean(float(data["seconds"]) for data in developed)
        row["loss_per_turn_ft"] = fmean(float(data["loss_ft"]) for data in developed)
    if row["planned_turns"] is None and row["card"] is not None:
        row["planned_turns"] = planned.get(str(row["card"]))
    held_until = row["recovery_ns"] if row["recovery_ns"] is not None else row["ended_ns"]
    if held_until is not None:
        row["seconds_held"] = (held_until - row["started_ns"]) / 1e9
    if row["recovery_turns"] is None and _number(row["turns"]) and _number(row["turns_held"]) and row["ended_ns"]:
        row["recovery_turns"] = row["turns"] - row["turns_held"]
    lowest = row["level_altitude_ft"] if _number(row["level_altitude_ft"]) else row["end_altitude_ft"]
    if _number(lowest) and _number(row["entry_altitude_ft"]):
        row["loss_ft"] = row["entry_altitude_ft"] - lowest
    return row


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value
