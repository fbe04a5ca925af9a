"""Tokens: only their hashes are kept."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Role(StrEnum):
    """source may send frames; watch may look; control may do everything, looking and sending included."""

    SOURCE = "source"
    WATCH = "watch"
    CONTROL = "control"


@dataclass(frozen=True, slots=True)
class TokenRecord:
    """A token as stored. hash_hex: SHA-256 of the secret (256 random bits, so no slow hash is needed).

    expires_ns 0: never. revoked_ns 0: in force.
    """

    id: str
    name: str
    role: Role
    hash_hex: str
    created_ns: int
    expires_ns: int = 0
    revoked_ns: int = 0

    def in_force(self, now_ns: int) -> bool:
        """Neither revoked nor over at that time."""
        return not self.revoked_ns and not 0 < self.expires_ns < now_ns


class TokenStore(Protocol):
    """Tokens by id. Durability: on disk when a call returns; a revocation holds for every later `get`."""

    async def put(self, record: TokenRecord) -> None:
        """Store or replace."""
        ...

    async def get(self, token_id: str) -> TokenRecord | None:
        """By id; while the store is away as it was read last: a store that can't be asked revokes nothing."""
        ...

    async def list_all(self) -> list[TokenRecord]:
        """Oldest first."""
        ...
