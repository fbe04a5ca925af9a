"""Sorties: the plan a sortie flies by, fixed at its creation."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from spinfloor.core.events import Json


class SortieKind(StrEnum):
    """A flight counts for what is learnt; a rehearsal never does."""

    FLIGHT = "flight"
    REHEARSAL = "rehearsal"


@dataclass(frozen=True, slots=True)
class SortieRecord:
    """One sortie.

    id: letters, digits, "-" and "_", at most 64 (it becomes part of message subjects).
    plan: the validated plan as plain JSON. beliefs: what was believed of the aircraft when the sortie was created
    (plain JSON, None: the plan's priors), so that a rerun years later gives the same events. belief_version: its
    version in the belief store, 0 for the priors.
    """

    id: str
    kind: SortieKind
    created_ns: int
    aircraft: str
    plan: Mapping[str, Json]
    beliefs: Mapping[str, Json] | None = None
    belief_version: int = 0
    notes: Mapping[str, Json] = field(default_factory=dict)


class SortieStore(Protocol):
    """Keeps sorties.

    Durability: `create` and `note` return when the record is on disk. Order: `list_all` gives newest first.
    """

    async def create(self, record: SortieRecord) -> bool:
        """Store a sortie. True when new, False when the same id with an equal plan and kind is there already.

        Raises SortieExistsError when the id is taken by another plan.
        """
        ...

    async def get(self, sortie: str) -> SortieRecord:
        """The sortie; while the store is away as it was read last. Raises UnknownSortieError."""
        ...

    async def list_all(
        self,
        *,
        limit: int = 1000,
        aircraft: str | None = None,
        kind: SortieKind | None = None,
        before: str | None = None,
    ) -> list[SortieRecord]:
        """Newest first, at most `limit`. before: those that come behind this sortie in that order, none if it is unknown."""
        ...

    async def note(self, sortie: str, notes: Mapping[str, Json]) -> None:
        """Merge keys into the record's notes (last write wins per key). Raises UnknownSortieError."""
        ...
