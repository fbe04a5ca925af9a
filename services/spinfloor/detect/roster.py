"""Which sorties a detect process looks after when there are several of them.

Every detect process hears of every sortie; the lease decides who has it, and the others stand by. One that has much to
do already is a little slower to ask, so that sorties spread over the processes.
"""

from __future__ import annotations

import asyncio
from typing import Final

import structlog

from spinfloor.core.errors import SpinfloorError
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.bundle import Ports

RETRY_S: Final = 1.0
LOOK_ROUND_S: Final = 30.0
STAGGER_S: Final = 0.02  # per sortie at work here; a lease takes a few milliseconds to get

log = structlog.get_logger("spinfloor.detect")


class Roster:
    """Keeps the supervisor busy with the sorties that have something to do."""

    def __init__(self, ports: Ports, supervisor: Supervisor) -> None:
        self._ports = ports
        self._supervisor = supervisor
        self._waiting: dict[str, asyncio.Task[None]] = {}

    async def run(self) -> None:
        """Listen and look round until cancelled; a server that is away is waited for."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._hear())
            tasks.create_task(self._look_round())

    async def _hear(self) -> None:
        listener = await self._ports.bus.subscribe("wake.>", bound=4096)
        try:
            async for subject, _ in listener:
                self.consider(subject.removeprefix("wake."))
        finally:
            await listener.close()

    async def _look_round(self) -> None:
        """Wake-ups may get lost, and before the start of this process they did."""
        while True:
            try:
                await self._supervisor.start()
            except SpinfloorError as error:
                log.warning("looking round failed", reason=error.sentence)
                await self._ports.clock.sleep(RETRY_S)
            else:
                await self._ports.clock.sleep(LOOK_ROUND_S)

    def consider(self, sortie: str) -> None:
        """Take the sortie up after a pause that grows with the work here."""
        if sortie in self._waiting:
            return
        pause_s = STAGGER_S * len(self._supervisor.running)
        task = asyncio.get_running_loop().create_task(self._after(pause_s, sortie))
        self._waiting[sortie] = task
        task.add_done_callback(lambda _: self._waiting.pop(sortie, None))

    async def _after(self, pause_s: float, sortie: str) -> None:
        await self._ports.clock.sleep(pause_s)
        self._supervisor.ensure(sortie)
