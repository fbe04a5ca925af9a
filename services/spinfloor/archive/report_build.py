"""A sortie's report: what was planned, what was flown, what it means, the evidence. Pure: records in, blocks out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from spinfloor.archive.report_blocks import Block, Paragraph, Report, Section, Table
from spinfloor.archive.report_figures import spin_figures
from spinfloor.archive.report_marks import floors_at, marks_blocks
from spinfloor.archive.report_words import num, stamp
from spinfloor.core.caution import CAUTION

Record = Mapping[str, Any]

CAUTIONS: Final = (
    CAUTION,
    "A verdict here is a reading of numbers against a rule, no evidence of compliance; the certifying authority's text "
    "decides. Rules marked “from memory” were not checked against their text.",
    "Altitudes are corrected for lag and setting as far as the plan gives them. A height is only as good as its datum.",
)
EVENTS_AT_MOST: Final = 1500
SPIN_CAPTION: Final = (
    "One line per spin. Margins are above the recovery floor at level flight; “predicted” and “bound” were predicted "
    "at the moment the recovery controls went in. “To level” is the loss from those controls to level flight, “loss” that from the "
    "spin's start to level flight, or to its end where no level flight was seen."
)


@dataclass(frozen=True, slots=True)
class ReportInput:
    """What the report is made of.

    sortie: id, kind, created_ns, aircraft, belief_version. rows: of `spin_table`. events: the run's,
    in sequence. frames: decimated contract columns per spin number. versions: name to version. notes: of `notes_of`.
    """

    sortie: Record
    plan: Record
    run: str
    rows: Sequence[Record]
    events: Sequence[Record]
    frames: Mapping[int, Mapping[str, Sequence[Any]]] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=dict)
    rule: Record | None = None
    notes: Sequence[Record] = ()


def build_report(given: ReportInput) -> Report:
    """The whole report."""
    plan = given.plan
    kind = "Rehearsal: not flown" if given.sortie.get("kind") == "rehearsal" else "Flight"
    return Report(
        title=f"Spin report: {plan.get('title', given.sortie['id'])}",
        subtitle=(
            f"Sortie {given.sortie['id']}. {kind}. Aircraft {given.sortie.get('aircraft', 'not stated')}. "
            f"Created {stamp(given.sortie.get('created_ns'))}. Detector run {given.run}."
        ),
        cautions=CAUTIONS,
        sections=tuple(_sections(given)),
        footer=f"spinfloor {given.versions.get('spinfloor', '')} · sortie {given.sortie['id']} · run {given.run} · "
        "advises only: crew, test conductor and the approved plan decide",
    )


def _sections(given: ReportInput) -> Iterator[Section]:
    yield Section("Spins", tuple(_spin_blocks(given.rows)))
    yield Section("Verdicts", tuple(_verdict_blocks(given.rows, given.rule)))
    yield Section("Calls", (_calls(given.events),))
    yield Section("Marks and notes", tuple(marks_blocks(given.events, given.notes)))
    for row in given.rows:
        frames = given.frames.get(int(row["spin"]), {})
        floors = floors_at(given.events, given.plan.get("floors", {}), _over_ns(row))
        figures = tuple(spin_figures(row, given.events, frames, floors))
        if figures:
            yield Section(f"Spin {row['spin']}: {kind_words(row)}", figures)
    yield Section("Plan", tuple(_plan_blocks(given.plan)))
    beliefs = f"version {given.sortie.get('belief_version', 0)} (0: the plan's priors)"
    settings = {**given.versions, "detector run": given.run, "beliefs used": beliefs}
    yield Section("Settings and versions", (_pairs(settings),))
    yield Section("Evidence: events of this run", tuple(_evidence(given.events)))


def _over_ns(row: Record) -> int:
    """When the spin was over, as far as is known."""
    return int(next(row[name] for name in ("level_ns", "end_ns", "recovery_start_ns", "start_ns") if row.get(name)))


def _spin_blocks(rows: Sequence[Record]) -> Iterator[Block]:
    if not rows:
        yield Paragraph("No spin was found in this run.")
        return
    head = ("#", "Card", "Kind", "Entry, ft", "Turns held", "Turns", "s/turn", "ft/turn", "Recovery turns",
            "To level, ft", "Loss, ft", "Margin, ft", "Predicted, ft", "Bound, ft", "Surprise")  # fmt: skip
    body = tuple(
        (
            str(row["spin"]), str(row.get("card") or "none"), kind_words(row), num(row.get("start_altitude_ft")),
            num(row.get("recovery_start_turns"), 2), num(row.get("turns"), 2), num(row.get("mean_seconds_per_turn"), 2),
            num(row.get("mean_loss_per_turn_ft")), num(row.get("recovery_turns"), 2), num(row.get("recovery_loss_ft")),
            num(row.get("loss_ft")), num(row.get("margin_ft")), num(row.get("predicted_margin_ft")),
            num(row.get("predicted_bound_margin_ft")), ", ".join(row.get("surprises") or []) or "none",
        )
        for row in rows
    )  # fmt: skip
    yield Table(head, body, wide=True, caption=SPIN_CAPTION)


def _verdict_blocks(rows: Sequence[Record], rule: Record | None) -> Iterator[Block]:
    if rule is not None:
        mark = "verified against the source named" if rule.get("verified") else "FROM MEMORY, not checked"
        tone = "plain" if rule.get("verified") else "caution"
        where = " ".join(str(rule.get(name) or "") for name in ("source", "clause", "page"))
        yield Paragraph(
            f"Judged by: {rule.get('title', rule.get('key'))}. {where}. Numbers {mark}. {rule.get('note', '')}", tone
        )
    body = tuple(
        (str(row["spin"]), str(verdict["outcome"]), "; ".join(c["sentence"] for c in verdict["checks"]),
         "; ".join(verdict["notes"]), f"{verdict['source']} {verdict['clause']}, {verdict['page']}",
         "verified" if verdict["verified"] else "from memory")
        for row in rows
        if (verdict := row.get("verdict"))
    )  # fmt: skip
    if body:
        yield Table(("#", "Verdict", "Numbers", "Notes", "Clause", "Rule's numbers"), body)
    else:
        yield Paragraph("No spin was judged.")


def _calls(events: Sequence[Record]) -> Block:
    rows = tuple(
        (stamp(event["time_ns"], millis=True), str(event["data"].get("call")), str(event["data"].get("words")),
         str(event["data"].get("reason") or ""), num(event["data"].get("altitude_ft")),
         _left(event["data"]), "estimated" if event["data"].get("estimated") else "")
        for event in events
        if event["kind"] == "call" and event["data"].get("call") != "turn"
    )  # fmt: skip
    if not rows:
        return Paragraph("No call other than turns was made.")
    return Table(("Time", "Call", "Words", "Reason", "Altitude, ft", "Altitude left, ft", ""), rows)


def _left(data: Record) -> str:
    median, bound = num(data.get("altitude_left_ft")), num(data.get("altitude_left_bound_ft"))
    return median if median == bound else f"{median} (cautious {bound})"


def _plan_blocks(plan: Record) -> Iterator[Block]:
    flat = {path: value for path, value in _flat(plan) if not path.startswith("cards")}
    yield _pairs(flat)
    cards = plan.get("cards") or []
    names = [
        name
        for name in dict.fromkeys(key for card in cards for key in card)
        if any(card.get(name) not in (None, "") for card in cards)
    ]
    if cards:
        rows = tuple(
            tuple("" if card.get(name) is None else _plain(card.get(name)) for name in names) for card in cards
        )
        yield Table(tuple(name.replace("_", " ") for name in names), rows, caption="Cards in build-up order")


def _pairs(values: Mapping[str, Any]) -> Table:
    return Table(("What", "Value"), tuple((name, _plain(value)) for name, value in values.items()))


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _flat(inner, f"{path}.{name}" if path else str(name))
    elif path:
        yield path, value


def _plain(value: Any) -> str:
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _evidence(events: Sequence[Record]) -> Iterator[Block]:
    if len(events) > EVENTS_AT_MOST:
        yield Paragraph(f"The first {EVENTS_AT_MOST} of {len(events)} events; the exports hold them all.")
    rows = tuple(
        (str(event.get("sequence", "")), stamp(event["time_ns"], millis=True),
         f"{(int(event['detected_ns']) - int(event['time_ns'])) / 1e9:.2f}", str(event["kind"]),
         "; ".join(f"{name} {_plain_data(value)}" for name, value in event["data"].items() if value is not None))
        for event in events[:EVENTS_AT_MOST]
    )  # fmt: skip
    yield Table(("#", "Happened", "Known after, s", "Kind", "Data"), rows, wide=True)


def _plain_data(value: Any) -> str:
    if isinstance(value, Mapping):
        return "(" + ", ".join(f"{name} {_plain_data(inner)}" for name, inner in value.items()) + ")"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_plain_data(inner) for inner in value) + "]"
    return f"{value:.6g}" if isinstance(value, float) else _plain(value)


def kind_words(row: Record) -> str:
    """Orientation, direction, mode in words."""
    first = " ".join(str(row[name]) for name in ("orientation", "direction") if row.get(name))
    parts = [first, str(row.get("mode") or "mode not known"), "oscillatory" if row.get("oscillatory") else ""]
    return ", ".join(part for part in parts if part)
