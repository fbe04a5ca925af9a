"""Gathering what a sortie's report is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from spinfloor import __version__
from spinfloor.archive.decimate import decimated, once
from spinfloor.archive.flown import run_events
from spinfloor.archive.notes import notes_of
from spinfloor.archive.report_build import ReportInput
from spinfloor.archive.spin_table import Row, spin_table
from spinfloor.core.plan.rules import RULES
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieRecord

LEAD_NS: Final = 5_000_000_000
TAIL_NS: Final = 15_000_000_000
POINTS_PER_SPIN: Final = 1200


async def report_input(ports: Ports, record: SortieRecord) -> ReportInput:
    """Everything of the sortie's current run. Raises UnknownSortieError before, StorageError here."""
    run = await ports.events.current_run(record.id)
    events = [] if run is None else await run_events(ports, record.id, run=run)
    rows = spin_table(events, record.plan)
    rule = RULES.get(str(record.plan.get("rule", "")))
    return ReportInput(
        sortie={
            "id": record.id,
            "kind": record.kind.value,
            "created_ns": record.created_ns,
            "aircraft": record.aircraft,
            "belief_version": record.belief_version,
        },
        plan=record.plan,
        run=run or "none",
        rows=rows,
        events=[event.as_record() for event in events],
        frames={int(row["spin"]): await _frames(ports, record.id, row) for row in rows},
        versions={"spinfloor": __version__},
        rule=None if rule is None else asdict(rule),
        notes=await notes_of(ports, record.id),
    )


async def _frames(ports: Ports, sortie: str, row: Row) -> Mapping[str, Sequence[Any]]:
    first = int(row["start_ns"]) - LEAD_NS
    ends = [row[name] for name in ("level_ns", "end_ns", "recovery_start_ns", "start_known_ns") if row[name]]
    last = int(ends[0]) + TAIL_NS
    blocks = ports.frames.blocks(sortie, from_ns=first, to_ns=last + 1)
    block = await decimated(once(blocks), first_ns=first, last_ns=last, max_points=POINTS_PER_SPIN)
    return {name: column.tolist() for name, column in block.to_columns().items()}
