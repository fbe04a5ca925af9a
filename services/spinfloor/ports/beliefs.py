"""What earlier spins of an aircraft taught, version by version."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from spinfloor.core.events import Json


@dataclass(frozen=True, slots=True)
class StoredBeliefs:
    """One version: plain JSON of the core's beliefs and why it came about (sortie, spin, sign-off)."""

    aircraft: str
    version: int
    created_ns: int
    beliefs: Mapping[str, Json]
    cause: Mapping[str, Json]


class BeliefStore(Protocol):
    """Append-only versions per aircraft, from 1 without a hole.

    Durability: on disk when `add` returns. Duplicates: a `cause_key` seen before for the aircraft returns that version
    and adds nothing, so a recovery taught again after a crash counts once.
    """

    async def current(self, aircraft: str) -> StoredBeliefs | None:
        """The newest version, None when nothing has been learnt."""
        ...

    async def add(
        self,
        aircraft: str,
        *,
        expected_version: int,
        beliefs: Mapping[str, Json],
        cause: Mapping[str, Json],
        cause_key: str,
        created_ns: int,
    ) -> StoredBeliefs:
        """Add version expected_version + 1. Raises StaleVersionError when the newest is not expected_version."""
        ...

    async def history(self, aircraft: str) -> list[StoredBeliefs]:
        """All versions, oldest first."""
        ...

    async def aircraft(self) -> list[str]:
        """Every aircraft with a version, by name."""
        ...
