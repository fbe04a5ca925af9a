"""Notes that persons added after the flight, from the audit log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from spinfloor.ports.bundle import Ports

NOTE: Final = "note"


async def notes_of(ports: Ports, sortie: str) -> list[Mapping[str, Any]]:
    """Oldest first: at_ns, by, text, spin (None: of the whole sortie). An imported archive may hold any data."""
    found: list[Mapping[str, Any]] = []
    after = -1
    while page := await ports.audit.read(sortie=sortie, action=NOTE, after=after):
        after = page[-1].position
        for record in page:
            spin = record.data.get("spin")
            about = spin if isinstance(spin, int) else None
            found.append(
                {"at_ns": record.at_ns, "by": record.by, "text": str(record.data.get("text") or ""), "spin": about}
            )
    return found
