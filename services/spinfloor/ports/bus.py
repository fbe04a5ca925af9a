"""Messages to whoever listens now."""

from collections.abc import AsyncIterator
from typing import Protocol


class Subscription(Protocol):
    """What a listener reads from. Bounded: when it is full the oldest message goes and `dropped` counts it."""

    dropped: int

    def __aiter__(self) -> AsyncIterator[tuple[str, bytes]]:
        """(subject, payload), in the order published."""
        ...

    async def close(self) -> None:
        """Stop listening; the iterator ends."""
        ...


class Bus(Protocol):
    """Best-effort fan-out; whatever may not be lost is in a journal, and listeners fill their gaps from there.

    Order: per subject and publisher. Loss: allowed (a full subscription drops its oldest and counts it; a broken line).
    Duplicates: allowed. Backpressure: none on the publisher; `publish` never waits for a listener.
    Subjects are words joined by dots, `live.<sortie>`, `events.<sortie>`, `sounded.<sortie>`; a trailing `>` in
    `subscribe` takes every subject that begins so. The payload of the newest message of each subject is retained.
    """

    async def publish(self, subject: str, payload: bytes) -> None:
        """Hand a message to every present listener."""
        ...

    async def subscribe(self, subject: str, *, bound: int = 256) -> Subscription:
        """Listen; messages published after this returns arrive."""
        ...

    async def latest(self, subject: str) -> bytes | None:
        """The newest payload published on the subject, None when there is none (yet)."""
        ...

    def listened(self, subject: str) -> bool:
        """False only when it is certain that nobody listens; then the publisher may save the work."""
        ...
