"""One detector owns a sortie at a time."""

from dataclasses import dataclass
from typing import Protocol

from spinfloor.ports.errors import LeaseLostError


@dataclass(frozen=True, slots=True)
class Grant:
    """Ownership until `expires_ns` (wall clock) unless renewed. `fence` rises with every new owner of the sortie."""

    sortie: str
    owner: str
    fence: int
    expires_ns: int


def lease_lost(sortie: str) -> LeaseLostError:
    """For adapters: the error for an owner who is one no longer."""
    return LeaseLostError(
        expected="to own the sortie",
        got="a newer owner's lease",
        now="nothing was written; this detector stops",
        sortie=sortie,
    )


class Leases(Protocol):
    """Exclusive, expiring ownership.

    At most one unexpired grant per sortie. A later grant has a higher fence, so that writes of an owner that was cut
    off and came back are refused by the journals whatever its clock says.
    """

    async def acquire(self, sortie: str, owner: str, *, ttl_s: float) -> Grant | None:
        """Take the sortie, None while another owner holds it. The same owner asking again gets a new, higher fence."""
        ...

    async def renew(self, grant: Grant, *, ttl_s: float) -> Grant:
        """Hold it longer, same fence. Raises LeaseLostError when it has passed to another."""
        ...

    async def release(self, grant: Grant) -> None:
        """Give it up; nothing happens when it is lost already."""
        ...
