"""Browser sessions: kept, so that they outlive the process that opened them; only their hashes are kept."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A session as stored. hash_hex: SHA-256 of the cookie's value (256 random bits, so no slow hash is needed).

    It counts while its token does, at most until expires_ns.
    """

    hash_hex: str
    token_id: str
    created_ns: int
    expires_ns: int


class SessionStore(Protocol):
    """Sessions by the hash of their cookie. Durability: on disk when a call returns; every process sees it at once."""

    async def put(self, record: SessionRecord) -> None:
        """Store or replace."""
        ...

    async def get(self, hash_hex: str) -> SessionRecord | None:
        """By the cookie's hash, whether it is over or not; while the store is away as it was read last."""
        ...

    async def remove(self, hash_hex: str) -> None:
        """Forget one; nothing happens when there is none."""
        ...

    async def sweep(self, now_ns: int) -> int:
        """Forget every session that was over at that time; how many are left."""
        ...
