"""What earlier spins of an aircraft taught, version by version."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from spinfloor.core.events import Json
from spinfloor.ports.errors import StaleVersionError


@dataclass(frozen=True, slots=True)
class StoredBeliefs:
    """One version: plain JSON of the core's beliefs and why it came about (sortie, spin, sign-off)."""

    aircraft: str
    version: int
    created_ns: int
    beliefs: Mapping[str, Json]
    cause: Mapping[str, Json]


def check_newest(aircraft: str, expected: int, newest: int) -> None:
    """For adapters: raises StaleVersionError unless the newest version is the one the caller has read."""
    if newest != expected:
        raise StaleVersionError(
            expected=f"version {expected} to be the newest of {aircraft}",
            got=f"version {newest}",
            now="nothing was stored; read the newest and repeat",
        )


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
