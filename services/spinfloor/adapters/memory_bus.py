"""The bus within one process."""

from __future__ import annotations

from spinfloor.adapters.newest_queue import NewestQueue


class _Listener(NewestQueue):
    def __init__(self, bus: MemoryBus, subject: str, bound: int) -> None:
        super().__init__(bound)
        self._bus = bus
        self.subject = subject

    async def close(self) -> None:
        """See Subscription."""
        self._bus.remove(self)
        self.end()


class MemoryBus:
    """`Bus`: delivery is a function call, nothing is copied."""

    def __init__(self) -> None:
        self._exact: dict[str, list[_Listener]] = {}
        self._prefix: list[_Listener] = []
        self._latest: dict[str, bytes] = {}

    async def publish(self, subject: str, payload: bytes) -> None:
        """See the port."""
        self._latest[subject] = payload
        for listener in self._exact.get(subject, ()):
            listener.put(subject, payload)
        for listener in self._prefix:
            if subject.startswith(listener.subject[:-1]):
                listener.put(subject, payload)

    async def subscribe(self, subject: str, *, bound: int = 256) -> _Listener:
        """See the port."""
        listener = _Listener(self, subject, bound)
        if subject.endswith(">"):
            self._prefix.append(listener)
        else:
            self._exact.setdefault(subject, []).append(listener)
        return listener

    def remove(self, listener: _Listener) -> None:
        """Take a listener off."""
        if listener in self._prefix:
            self._prefix.remove(listener)
        listeners = self._exact.get(listener.subject, [])
        if listener in listeners:
            listeners.remove(listener)
            if not listeners:
                del self._exact[listener.subject]

    async def latest(self, subject: str) -> bytes | None:
        """See the port."""
        return self._latest.get(subject)

    def listened(self, subject: str) -> bool:
        """See the port."""
        return subject in self._exact or any(subject.startswith(x.subject[:-1]) for x in self._prefix)
