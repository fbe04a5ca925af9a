"""The floors of a sortie: those in force, and changes to them checked before anything is stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from spinfloor.core.events import Json
from spinfloor.core.plan.load import plan_from, plan_to_data
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieRecord

HIGHEST_FT: Final = 100_000.0  # of a plan's heights


async def current_floors(ports: Ports, record: SortieRecord) -> dict[str, Any]:
    """The floors in force: the plan's, or the last that were set."""
    floors: Any = plan_to_data(plan_from(dict(record.plan)))["floors"]
    after = -1
    while changes := await ports.audit.read(sortie=record.id, action="floors", after=after):
        floors, after = changes[-1].data["floors"], changes[-1].position
    return dict(floors)


async def checked_floors(ports: Ports, record: SortieRecord, changes: Mapping[str, Any]) -> dict[str, Json]:
    """The floors in force with the changes, as a whole set. Raises PlanError with every fault.

    A card whose entry altitude lies below the new floor is no fault: a floor must be raised at once, whatever is planned.
    """
    floors = {**await current_floors(ports, record), **changes}
    cards: Any = plan_to_data(plan_from(dict(record.plan)))["cards"]
    plan = plan_from(
        {**record.plan, "floors": floors, "cards": [{**c, "entry_altitude_ft": HIGHEST_FT} for c in cards]}
    )
    return dict(plan_to_data(plan)["floors"])
