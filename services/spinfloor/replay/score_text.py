"""The score sheet of a rehearsal as plain text: one line per call. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

HEAD: Final = ("at", "call", "spin", "tool", "person", "left when due", "when the tool called", "when a person called")
CAUTION: Final = "The tool advises; the crew, the test conductor and the approved test plan decide."


def score_text(sheet: Mapping[str, Any]) -> str:
    """The answer of GET /v1/rehearsals/SORTIE/score, for a terminal.

    Times are minutes and seconds since the recording's start; altitude left is the median and, in brackets, the
    cautious bound, both in feet.
    """
    title = sheet.get("recording_title") or sheet["recording"]
    out = [f"Score sheet: {title} (sortie {sheet['sortie']})", f"what went wrong: {_wrong(sheet)}"]
    if not sheet["complete"]:
        out.append("The recording was not played to its end: later calls show as missed.")
    rows = [_row(line, int(sheet["start_ns"])) for line in sheet["lines"]]
    out += ["", *_table([HEAD, *rows])] if rows else ["", "No call was due."]
    return "\n".join([*out, "", *_totals(sheet), CAUTION]) + "\n"


def _totals(sheet: Mapping[str, Any]) -> list[str]:
    out = []
    for who in ("tool", "person"):
        counted = [f"{count} {says}" for says, count in sheet["counts"][who].items() if count]
        out.append(f"{who}: {', '.join(counted) or 'nothing was due'}")
    out.append(f"In time is within {sheet['in_time_s']:g} s of due; due is what the undisturbed recording gives.")
    return out


def _wrong(sheet: Mapping[str, Any]) -> str:
    words = [_fault(fault) for fault in sheet["faults"]]
    turns = int(sheet["crew_response_turns"])
    if turns:
        words.append(f"crew {abs(turns)} {'turn' if abs(turns) == 1 else 'turns'} {'late' if turns > 0 else 'early'}")
    return "; ".join(words) or "nothing"


def _fault(fault: Mapping[str, Any]) -> str:
    much = fault.get("value", fault.get("seconds"))
    until = f"to {fault['to_s']:g} s" if fault.get("to_s") is not None else "to the end"
    words = [fault["kind"], fault.get("channel") or "", "" if much is None else f"{much:g}"]
    return " ".join([word for word in words if word] + [f"from {fault['from_s']:g} s", until])


def _row(line: Mapping[str, Any], start_ns: int) -> tuple[str, ...]:
    at = next(line[name] for name in ("due_ns", "tool_ns", "person_ns") if line[name] is not None)
    words = f"turn {line['words']}" if line["call"] == "turn" else str(line["words"])
    person = _made(line["person_says"], line["person_late_s"])
    return (
        _clock((at - start_ns) * 1e-9), words, str(line["spin"] or "-"), _made(line["tool_says"], line["tool_late_s"]),
        f"{person}, {line['person_by']}" if line["person_by"] else person,
        *(_left(line[name]) for name in ("margin_due", "margin_tool", "margin_person")),
    )  # fmt: skip


def _made(says: str, late_s: float | None) -> str:
    return says if late_s is None else f"{says} {late_s:+.1f} s"


def _left(margin: Mapping[str, float | None] | None) -> str:
    if margin is None or margin["median_ft"] is None:
        return "-"
    bound = margin["bound_ft"]
    return f"{margin['median_ft']:,.0f} ({'-' if bound is None else format(bound, ',.0f')})"


def _clock(seconds: float) -> str:
    tenths = round(seconds * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[place]) for row in rows) for place in range(len(HEAD))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
