"""Reading a programme out of the stores: flown sorties with their spin tables, beliefs in force, sign-offs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from spinfloor.archive.programme import SIGN_OFF, FlownSortie
from spinfloor.archive.spin_table import spin_table
from spinfloor.core.events import Event, Kind
from spinfloor.core.plan.gate import SignOff
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieKind, SortieRecord

SORTIES_AT_MOST: Final = 1000
PAGE: Final = 5000
KINDS: Final = frozenset(
    kind.value
    for kind in (
        Kind.SPIN_STARTED, Kind.SPIN_TURN, Kind.SPIN_MODE, Kind.RECOVERY_STARTED, Kind.SPIN_ENDED, Kind.RECOVERED,
        Kind.CALL, Kind.FLOOR_CROSSED,
    )
)  # fmt: skip


async def run_events(ports: Ports, sortie: str, *, run: str | None = None, spins_only: bool = False) -> list[Event]:
    """Every event of a run (None: the current one), in sequence; `spins_only` leaves out what no spin table needs."""
    events: list[Event] = []
    while True:
        after = events[-1].sequence if events else -1
        kinds = KINDS if spins_only else None
        page = await ports.events.read(sortie, run=run, after=after, kinds=kinds, limit=PAGE)
        events += page
        if len(page) < PAGE:
            return events


async def flights_of(ports: Ports, aircraft: str) -> list[SortieRecord]:
    """Flights of an aircraft, oldest first; rehearsals are no flights."""
    records = await ports.sorties.list_all(limit=SORTIES_AT_MOST, aircraft=aircraft, kind=SortieKind.FLIGHT)
    return sorted(records, key=lambda r: r.created_ns)


async def flown_sorties(ports: Ports, records: Sequence[SortieRecord]) -> list[FlownSortie]:
    """Each flight with its spin table."""
    return [
        FlownSortie(
            id=record.id,
            title=str(record.plan.get("title", "")),
            created_ns=record.created_ns,
            rows=spin_table(await run_events(ports, record.id, spins_only=True), record.plan),
        )
        for record in records
    ]


async def sign_offs_of(ports: Ports, sorties: Sequence[str] | None = None) -> list[SignOff]:
    """Sign-offs, oldest first; the last one of a spin counts."""
    found: list[SignOff] = []
    after = -1
    while page := await ports.audit.read(action=SIGN_OFF, after=after):
        after = page[-1].position
        wanted = (record for record in page if sorties is None or record.sortie in sorties)
        found += [sign_off for record in wanted if (sign_off := _sign_off(record)) is not None]
    return found


def _sign_off(record: AuditRecord) -> SignOff | None:
    """None for a record that names no spin: an imported archive may hold any."""
    try:
        spin = int(str(record.data["spin"]))
    except (KeyError, ValueError):
        return None
    return SignOff(str(record.sortie), spin, record.by, str(record.data.get("reason", "")), record.at_ns)


async def beliefs_in_force(ports: Ports, aircraft: str, plan: Plan | None) -> tuple[Beliefs | None, int]:
    """What is believed of the aircraft, on the plan's priors where there is a plan; the stored version (0: none)."""
    stored = await ports.beliefs.current(aircraft)
    if stored is None:
        return (None if plan is None else Beliefs.from_plan(plan)), 0
    beliefs = Beliefs.from_json(stored.beliefs)
    return (beliefs if plan is None else beliefs.with_priors(plan)), stored.version
