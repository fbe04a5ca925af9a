"""Killing the parts of a spread-out service and its servers at random moments; then counting what is there."""

from __future__ import annotations

import asyncio
import contextlib
import random
import signal
from collections import Counter
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Any, Final

import httpx
import numpy as np
from tests.durability.rounds import Heard, Outcome, free_port, listen
from tests.fed_again import fed_again
from tests.servers.processes import NatsServer, PostgresServer, Server
from tests.spread.flying import looking
from tests.spread.parts import Fleet, Part
from tests.waiting import until

from spinfloor.adapters.system_clock import SystemClock
from spinfloor.client import Client
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_to_data
from spinfloor.core.plan.model import Plan
from spinfloor.detect.building import build_detector
from spinfloor.ports import Ports
from spinfloor.ports.inputs import FramesInput, JournalEntry
from spinfloor.sender import Sender

KILL_WITHIN_S: Final = (0.01, 1.0)
DETECTORS: Final = 2
VICTIMS: Final = ("detect", "detect", "ingest", "NATS", "PostgreSQL")
SPEED: Final = 10.0


class SpreadRounds:
    """One ingest part, one screen and two detectors on servers of their own, killed again and again."""

    def __init__(self, plan: Plan, block: FrameBlock, *, seed: int) -> None:
        self.plan = plan
        self.block = block
        self.killed: Counter[str] = Counter()
        self._random = random.Random(seed)
        self._nats, self._postgres = NatsServer(), PostgresServer()
        self._fleet: Fleet | None = None
        self._ports = {"ingest": free_port(), "screen": free_port()}

    @property
    def fleet(self) -> Fleet:
        """The parts."""
        assert self._fleet is not None
        return self._fleet

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[SpreadRounds]:
        """With all of it up."""
        try:
            for server in (self._nats, self._postgres):
                await asyncio.to_thread(server.start)
            database = await asyncio.to_thread(self._postgres.database, "kills")
            self._fleet = Fleet(self._nats.url, database, "kills")
            parts = [self._start("ingest"), self._start("screen"), *(self._start("detect") for _ in range(DETECTORS))]
            await asyncio.gather(*(asyncio.to_thread(part.wait_ready) for part in parts))
            yield self
        finally:
            if self._fleet is not None:
                await asyncio.to_thread(self._fleet.close)
            for server in (self._postgres, self._nats):
                await asyncio.to_thread(server.close)

    def _start(self, command: str) -> Part:
        """A part; those that are asked from outside come back where they were."""
        if command not in self._ports:
            return self.fleet.start(command)
        part = Part([command, "--port", str(self._ports[command])], self.fleet.environment)
        self.fleet.parts.append(part)
        return part

    def _base(self, command: str) -> str:
        return f"http://127.0.0.1:{self._ports[command]}"

    async def sortie(self, name: str, *, kills: int) -> Outcome:
        """Send the recording while killing up to `kills` times, then let it finish and examine."""
        outcome = Outcome()
        async with Client(self._base("ingest")) as client:
            await until(client.ready, seconds=60.0, what="the ingest part")
            await client.create_sortie(plan_to_data(self.plan), sortie=name)
            sender = Sender(client, name, self.block, SystemClock(), speed=SPEED)
            heard = Heard()
            sending = asyncio.create_task(sender.run())
            listening = asyncio.create_task(listen(self._base("screen"), name, heard))
            try:
                while outcome.kills < kills and not sending.done():
                    await self._kill_once(outcome)
                outcome.batches = (await sending).acked
                async with looking(self.fleet) as ports:
                    await self._examine(name, ports, heard, outcome)
            finally:
                for task in (listening, sending):
                    task.cancel()
                await asyncio.gather(listening, sending, return_exceptions=True)
        return outcome

    async def _kill_once(self, outcome: Outcome) -> None:
        await asyncio.sleep(self._random.uniform(*KILL_WITHIN_S))  # the random moment is what is being tested
        victim = self._random.choice(VICTIMS)
        self.killed[victim] += 1
        outcome.kills += 1
        servers: dict[str, tuple[Server, signal.Signals]] = {
            "NATS": (self._nats, signal.SIGKILL),
            "PostgreSQL": (self._postgres, signal.SIGQUIT),  # its own word for it: at once, the children too
        }
        if victim in servers:
            server, how = servers[victim]
            await asyncio.to_thread(server.stop, how)
            await asyncio.to_thread(server.start)
            return
        part = self._random.choice([part for part in self.fleet.parts if part.arguments[0] == victim])
        await asyncio.to_thread(part.end, signal.SIGKILL)
        self.fleet.parts.remove(part)
        part.close()
        await asyncio.to_thread(self._start(victim).wait_ready)

    async def _examine(self, name: str, ports: Ports, heard: Heard, outcome: Outcome) -> None:
        """The journal holds the recording bit for bit, its inputs give its events, and a listener heard each once."""
        record = await ports.sorties.get(name)

        async def alone() -> list[dict[str, Any]]:
            return [e.as_record() for e in fed_again(build_detector(record), await _entries(ports, name))]

        async def there() -> list[dict[str, Any]]:
            return [e.as_record() for e in await ports.events.read(name, limit=100_000)]

        with contextlib.suppress(TimeoutError):
            await until(lambda: _same(alone, there), seconds=30.0, what="the last event")
        events = await there()
        outcome.events = len(events)
        if await alone() != events:
            outcome.wrong.append(f"{name}: the journalled inputs do not give the journalled events")
        if [e["sequence"] for e in events] != list(range(len(events))):
            outcome.wrong.append(f"{name}: the events have a hole or a double")
        blocks = [e.input.block for e in await _entries(ports, name) if isinstance(e.input, FramesInput)]
        outcome.wrong += self._frames_differ(name, "journal", blocks)
        outcome.ticks = len(await _entries(ports, name)) - len(blocks)

        async def all_heard() -> bool:
            return len(heard.ids) >= len(events)

        with contextlib.suppress(TimeoutError):
            await until(all_heard, seconds=15.0, what="the last event at the listener")
        if heard.events[: len(events)] != events or len(set(heard.ids)) != len(heard.ids):
            outcome.wrong.append(f"{name}: a listener heard {len(heard.events)} of {len(events)} events, or one twice")
        outcome.wrong += await self._archive_differs(name, ports)

    async def _archive_differs(self, name: str, ports: Ports) -> list[str]:
        async def archived() -> bool:
            return (await ports.frames.extent(name)).frames >= len(self.block)

        with contextlib.suppress(TimeoutError):
            await until(archived, seconds=20.0, what="the archive's last frame")
        blocks = [block async for block in ports.frames.blocks(name)]
        return self._frames_differ(name, "archive", blocks)

    def _frames_differ(self, name: str, where: str, blocks: list[FrameBlock]) -> list[str]:
        sent = replace(self.block, values=FrameBlock.from_columns(self.block.to_columns()).values)
        times = np.concatenate([b.time_ns for b in blocks])
        values = np.concatenate([b.values for b in blocks])
        if np.array_equal(times, sent.time_ns) and values.tobytes() == sent.values.tobytes():
            return []
        backwards = int((np.diff(times) <= 0).sum())
        return [f"{name}: the {where} holds {len(times)} frames, not the {len(sent)} sent, {backwards} out of order"]


async def _same(alone: Any, there: Any) -> bool:
    with contextlib.suppress(httpx.HTTPError):
        return bool(await alone() == await there())
    return False


async def _entries(ports: Ports, name: str) -> list[JournalEntry]:
    entries: list[JournalEntry] = []
    while page := await ports.inputs.read(name, after=entries[-1].offset if entries else -1, limit=5000):
        entries += page
    return entries
