"""Killing the server at random moments while a source sends and a listener listens; then counting what is there."""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import signal
import socket
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import orjson
from tests.fed_again import fed_again
from tests.places import ROOT

from spinfloor.adapters.sqlite import open_store
from spinfloor.adapters.system_clock import SystemClock
from spinfloor.client import Client
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_to_data
from spinfloor.core.plan.model import Plan, Timing
from spinfloor.detect.building import build_detector
from spinfloor.ports.inputs import FramesInput, JournalEntry, TickInput
from spinfloor.sender import Sender

KILL_WITHIN_S = (0.01, 0.4)


def free_port() -> int:
    """A port nobody listens on now; the server is started on the same one again and again."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Nursery:
    """Starts servers quickly; one at a time."""

    def __init__(self, folder: Path, port: int) -> None:
        self._folder = folder
        self._port = port
        self._process: asyncio.subprocess.Process | None = None
        self.child: int | None = None

    async def open(self) -> None:
        """Load and compile once."""
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "tests.durability.nursery", cwd=ROOT,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL,
        )  # fmt: skip
        assert self._process.stdout is not None
        assert await self._process.stdout.readline() == b"ready\n"

    async def start(self) -> None:
        """Fork a server."""
        assert self._process is not None
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"start {self._folder} {self._port}\n".encode())
        self.child = int(await self._process.stdout.readline())

    def kill(self) -> None:
        """kill -9."""
        if self.child is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.child, signal.SIGKILL)
            self.child = None

    async def close(self) -> None:
        """Kill the server, end the nursery."""
        self.kill()
        if self._process is not None:
            assert self._process.stdin is not None
            self._process.stdin.close()
            await self._process.wait()


@dataclass(slots=True)
class Heard:
    """What a listener on the event stream got, over all its connections."""

    ids: list[str] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)


async def listen(base: str, sortie: str, heard: Heard) -> None:
    """An event-stream listener that comes back with Last-Event-ID; cancel it in the end."""
    async with httpx.AsyncClient(base_url=base, timeout=httpx.Timeout(5.0, read=None), trust_env=False) as http:
        while True:
            headers = {"Accept": "text/event-stream"}
            if heard.ids:
                headers["Last-Event-ID"] = heard.ids[-1]
            with contextlib.suppress(httpx.HTTPError):
                async with http.stream("GET", f"/v1/sorties/{sortie}/events", headers=headers) as answer:
                    if answer.status_code == 200:
                        await _take_lines(answer, heard)
            await asyncio.sleep(0.02)  # between connections of a listener whose server is being killed


async def _take_lines(answer: httpx.Response, heard: Heard) -> None:
    identity = ""
    async for line in answer.aiter_lines():
        if line.startswith("id: "):
            identity = line[4:]
        elif line.startswith("data: "):
            heard.events.append(orjson.loads(line[6:]))
            heard.ids.append(identity)


@dataclass(slots=True)
class Outcome:
    """What one sortie's rounds came to. Lists of sentences; all empty when nothing is wrong."""

    kills: int = 0
    batches: int = 0
    events: int = 0
    ticks: int = 0
    wrong: list[str] = field(default_factory=list)


def patient(plan: Plan) -> Plan:
    """The plan with the longest data-age limit, so that a restart is no loss of data."""
    timing = Timing(**{**plan.timing.model_dump(), "data_age_limit_s": 10.0})
    return plan.model_copy(update={"timing": timing})


class Rounds:
    """One server folder, killed again and again."""

    def __init__(self, folder: Path, plan: Plan, block: FrameBlock, *, seed: int) -> None:
        self.folder = folder
        self.plan = plan
        self.block = block
        self._random = random.Random(seed)
        self._port = free_port()
        self.base = f"http://127.0.0.1:{self._port}"
        self.nursery = Nursery(folder, self._port)

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[Rounds]:
        """With a server up."""
        await self.nursery.open()
        try:
            await self.nursery.start()
            yield self
        finally:
            await self.nursery.close()

    async def sortie(self, name: str, *, kills: int, speed: float = 0.0) -> Outcome:
        """Send the recording while killing the server up to `kills` times, then let it finish and examine."""
        outcome = Outcome()
        async with Client(self.base) as client:
            await self._up(client)
            await client.create_sortie(plan_to_data(self.plan), sortie=name)
            sender = Sender(client, name, self.block, SystemClock(), speed=speed)
            heard = Heard()
            sending = asyncio.create_task(sender.run())
            listening = asyncio.create_task(listen(self.base, name, heard))
            try:
                while outcome.kills < kills and not sending.done():
                    await self._kill_once(client, name, sender, outcome)
                progress = await sending
                outcome.batches = progress.acked
                await client.state(name)
                events = await client.events(name)
                await self._until_heard(heard, len(events))
            finally:
                listening.cancel()
                sending.cancel()
                await asyncio.gather(listening, sending, return_exceptions=True)
            self._examine(heard, events, outcome)
        return outcome

    async def _up(self, client: Client) -> None:
        async with asyncio.timeout(120.0):
            while not await client.ready():  # noqa: ASYNC110  # another process comes up and sends no event
                await asyncio.sleep(0.01)

    async def _kill_once(self, client: Client, name: str, sender: Sender, outcome: Outcome) -> None:
        await self._up(client)
        await asyncio.sleep(self._random.uniform(*KILL_WITHIN_S))  # the random moment is what is being tested
        self.nursery.kill()
        answered = sender.progress.acked
        outcome.kills += 1
        await self.nursery.start()
        await self._up(client)
        for source in await client.sources(name):
            if source["last_sequence"] + 1 < answered:
                outcome.wrong.append(f"{answered} batches were acknowledged, {source['last_sequence'] + 1} are there")

    async def _until_heard(self, heard: Heard, count: int) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(60.0):
                while len(heard.ids) < count:  # noqa: ASYNC110  # the listener may be between two connections
                    await asyncio.sleep(0.01)

    def _examine(self, heard: Heard, events: list[dict[str, Any]], outcome: Outcome) -> None:
        outcome.events = len(events)
        if [e["sequence"] for e in events] != list(range(len(events))):
            outcome.wrong.append("the events have a hole or a double")
        if heard.events[: len(events)] != events:
            outcome.wrong.append(f"a listener heard {len(heard.events)} events, {len(events)} are journalled")
        if len(set(heard.ids)) != len(heard.ids):
            outcome.wrong.append("a listener heard an event twice")

    async def against_disk(self, name: str, outcome: Outcome) -> None:
        """With the server gone: the journal holds the recording bit for bit, and its inputs give the same events."""
        self.nursery.kill()
        ports = await _opened(self.folder)
        try:
            record = await ports.sorties.get(name)
            entries: list[JournalEntry] = []
            while page := await ports.inputs.read(name, after=entries[-1].offset if entries else -1, limit=5000):
                entries += page
            blocks = [e.input.block for e in entries if isinstance(e.input, FramesInput)]
            outcome.ticks = sum(isinstance(e.input, TickInput) for e in entries)
            times = np.concatenate([b.time_ns for b in blocks])
            values = np.concatenate([b.values for b in blocks])
            if not (np.array_equal(times, self.block.time_ns) and values.tobytes() == self.sent_values().tobytes()):
                outcome.wrong.append("the frames on disk are not the frames sent")
            again = fed_again(build_detector(record), entries)
            there = await ports.events.read(name, limit=100_000)
            if [e.as_record() for e in again] != [e.as_record() for e in there]:
                outcome.wrong.append("the journalled inputs do not give the journalled events")
        finally:
            await ports.close()

    def sent_values(self) -> Any:
        """What the frames become on their way: edge units and back."""
        return FrameBlock.from_columns(self.block.to_columns()).values

    def undisturbed(self, name: str) -> list[Event]:
        """The events of a run in which nothing happened."""
        sent = replace(self.block, values=self.sent_values())
        return Detector(sortie=name, plan=self.plan).feed(sent)


async def _opened(folder: Path) -> Any:
    """The store, once the killed server's lock on it is gone."""
    async with asyncio.timeout(60.0):
        while True:
            try:
                return await asyncio.to_thread(open_store, folder)
            except Exception:  # the lock of a process that is just being taken apart
                await asyncio.sleep(0.02)
