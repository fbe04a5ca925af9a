"""Looking at a sortie's detector from the API, wherever it runs."""

from __future__ import annotations

import asyncio
from typing import Any, Final, Protocol

import orjson

from spinfloor.detect.messages import live_subject, wake_subject
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import EventDivergedError, EventHoleError, LeaseLostError

SETTLE_S: Final = 5.0
POLL_S: Final = 0.02
WAKE_EVERY_S: Final = 1.0


class LiveView(Protocol):
    """The state of a sortie and whether its detector has taken everything in."""

    def touch(self, sortie: str) -> None:
        """There is something for the sortie's detector to do."""
        ...

    async def state(self, sortie: str) -> dict[str, Any] | None:
        """The newest state, None when no detector has shown one."""
        ...

    async def message(self, sortie: str) -> bytes | None:
        """The same as the watchers get it, encoded once for all of them."""
        ...

    async def shown(self, sortie: str) -> dict[str, Any] | None:
        """The state last shown, without waking a detector; None when none has been shown since the start."""
        ...

    async def settle(self, sortie: str) -> bool:
        """Wait (a few seconds at most) until what was journalled before this call has been through the detector.

        False also when the detector cannot go on: what it has journalled stands, and `trouble` says why. Raises
        StorageError.
        """
        ...

    def trouble(self, sortie: str) -> str | None:
        """One sentence when the sortie's detector is not running as it should."""
        ...


async def _shown(ports: Ports, sortie: str) -> dict[str, Any] | None:
    payload = await ports.bus.latest(live_subject(sortie))
    return None if payload is None else dict(orjson.loads(payload)["state"])


class LocalView:
    """The detectors run in this process."""

    def __init__(self, ports: Ports, supervisor: Supervisor) -> None:
        self._ports = ports
        self._supervisor = supervisor

    def touch(self, sortie: str) -> None:
        """See the protocol."""
        self._supervisor.ensure(sortie)

    async def state(self, sortie: str) -> dict[str, Any] | None:
        """See the protocol."""
        runtime = await self._supervisor.runtime(sortie)
        return None if runtime is None else await runtime.state()

    async def message(self, sortie: str) -> bytes | None:
        """See the protocol."""
        runtime = await self._supervisor.runtime(sortie)
        return None if runtime is None else await runtime.newest_message()

    async def shown(self, sortie: str) -> dict[str, Any] | None:
        """See the protocol."""
        return await _shown(self._ports, sortie)

    async def settle(self, sortie: str) -> bool:
        """See the protocol."""
        newest = await self._ports.inputs.newest_offset(sortie)
        runtime = await self._supervisor.runtime(sortie)
        if runtime is None:
            return False
        try:
            await asyncio.wait_for(runtime.reached(newest), SETTLE_S)
        except (TimeoutError, EventDivergedError, EventHoleError, LeaseLostError):
            return False
        return True

    def trouble(self, sortie: str) -> str | None:
        """See the protocol."""
        return self._supervisor.trouble(sortie)


class BusView:
    """The detectors run elsewhere; their newest state is on the bus."""

    def __init__(self, ports: Ports) -> None:
        self._ports = ports
        self._woken_ns: dict[str, int] = {}
        self._waking: set[asyncio.Task[None]] = set()

    def touch(self, sortie: str) -> None:
        """Wake the detect processes, at most once in a while per sortie; one that gets lost is followed by another."""
        now = self._ports.clock.steady_ns()
        if now - self._woken_ns.get(sortie, -(2**62)) < WAKE_EVERY_S * 1e9:
            return
        self._woken_ns[sortie] = now
        task = asyncio.get_running_loop().create_task(self._ports.bus.publish(wake_subject(sortie), b""))
        self._waking.add(task)
        task.add_done_callback(self._waking.discard)

    async def state(self, sortie: str) -> dict[str, Any] | None:
        """See the protocol."""
        return await _shown(self._ports, sortie)

    async def message(self, sortie: str) -> bytes | None:
        """See the protocol."""
        return await self._ports.bus.latest(live_subject(sortie))

    async def shown(self, sortie: str) -> dict[str, Any] | None:
        """See the protocol."""
        return await _shown(self._ports, sortie)

    async def settle(self, sortie: str) -> bool:
        """See the protocol."""
        newest = await self._ports.inputs.newest_offset(sortie)
        end = self._ports.clock.steady_ns() + int(SETTLE_S * 1e9)
        while self._ports.clock.steady_ns() < end:
            state = await self.state(sortie)
            if newest < 0 or (state is not None and state.get("input_offset", -1) >= newest):
                return True
            await self._ports.clock.sleep(POLL_S)
        return False

    def trouble(self, sortie: str) -> str | None:
        """Not known here."""
        return None
