"""Who did what: control actions, sounded calls, sign-offs."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from spinfloor.core.events import Json


@dataclass(frozen=True, slots=True)
class AuditRecord:
    """One action. `position` counts up over the whole store and is set by it (-1 before)."""

    at_ns: int
    by: str
    action: str
    sortie: str | None
    data: Mapping[str, Json]
    position: int = -1


class AuditLog(Protocol):
    """Append-only. Durability: on disk when `add` returns. Order: by position."""

    async def add(self, record: AuditRecord) -> int:
        """Store; returns its position."""
        ...

    async def read(
        self, *, sortie: str | None = None, after: int = -1, action: str | None = None, limit: int = 1000
    ) -> list[AuditRecord]:
        """Records with position > after, in order."""
        ...
