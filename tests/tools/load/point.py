"""One point of the load benchmark: so many sorties at such a rate, each with a source and a watcher."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import httpx
import msgspec
import numpy as np
import orjson
from tests.tools.load.flight import AFTER_S, LEVEL_S, PLAN, batches
from websockets.asyncio.client import ClientConnection, connect

PACKET_S: Final = 0.02
SPINNING_S: Final = 6.0
LATE_S: Final = 0.5  # a source that falls behind by this much is not keeping up
ANSWERS_S: Final = 5.0
_TICKS: Final = os.sysconf("SC_CLK_TCK")
_PAGE: Final = os.sysconf("SC_PAGE_SIZE")


@dataclass(slots=True)
class Point:
    """What was measured. call_ms: from the arrival of the batch to the event it gave, disk and detector between."""

    sorties: int
    rate_hz: float
    events: int = 0
    p50_ms: float = float("nan")
    p99_ms: float = float("nan")
    late_s: float = 0.0
    cores: float = 0.0
    memory_mb: float = 0.0
    faults: list[str] = field(default_factory=list)

    def holds(self, limit_ms: float) -> bool:
        """Whether calls come in time and every source kept up."""
        return not self.faults and self.p99_ms <= limit_ms and self.late_s < LATE_S

    @property
    def frames_per_s(self) -> float:
        """Frames a second, all sorties together."""
        return self.sorties * self.rate_hz


@dataclass(slots=True)
class _Usage:
    cpu_s: float
    memory_mb: float


def usage(pids: Sequence[int]) -> _Usage:
    """CPU seconds and resident memory of processes, from /proc (proc(5): stat fields 14 and 15, statm field 2)."""
    cpu_s = memory = 0.0
    for pid in pids:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        cpu_s += (int(stat[11]) + int(stat[12])) / _TICKS
        memory += int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) * _PAGE
    return _Usage(cpu_s, memory / 1e6)


async def measure(
    take: str,
    show: str,
    pids: Sequence[int],
    *,
    sorties: int,
    rate_hz: float,
    name: str,
    spinning_s: float = SPINNING_S,
) -> Point:
    """Fly `sorties` at once. take: where frames go; show: where watchers listen; pids: whose cost counts."""
    point = Point(sorties, rate_hz)
    packets = batches(rate_hz, spinning_s, PACKET_S)
    names = [f"{name}-{n}" for n in range(sorties)]
    async with httpx.AsyncClient(base_url=take, timeout=60.0, trust_env=False) as http:
        for one in names:
            answer = await http.post("/v1/sorties", params={"id": one}, json=PLAN)
            answer.raise_for_status()
    latencies: list[float] = []
    watching = [asyncio.create_task(_watch(show, one, latencies)) for one in names]
    sources = [asyncio.create_task(_Source(take, one, packets).open()) for one in names]
    opened = await asyncio.gather(*sources)
    before, begun = usage(pids), time.monotonic()
    late = await asyncio.gather(*(source.send(n / sorties) for n, source in enumerate(opened)), return_exceptions=True)
    after, took_s = usage(pids), time.monotonic() - begun
    for task in watching:
        task.cancel()
    await asyncio.gather(*watching, return_exceptions=True)
    point.faults = sorted({_words(x) for x in late if isinstance(x, BaseException)})
    point.late_s = max((x for x in late if isinstance(x, float)), default=0.0)
    point.events = len(latencies)
    if latencies:
        point.p50_ms, point.p99_ms = (float(v) for v in np.percentile(latencies, [50, 99]))
    else:
        point.faults.append("no event came")
    point.cores, point.memory_mb = (after.cpu_s - before.cpu_s) / took_s, after.memory_mb
    return point


def _words(error: BaseException) -> str:
    return f"refused: {error}" if isinstance(error, RefusedError) else f"{type(error).__name__} {error}".strip()[:80]


def _socket(base: str, path: str) -> connect:
    return connect(base.replace("http", "ws", 1) + path, proxy=None, compression=None, open_timeout=60.0)


async def _watch(base: str, sortie: str, latencies: list[float]) -> None:
    """A screen: takes every state and event, and notes how long each event took."""
    async with _socket(base, f"/v1/sorties/{sortie}/live?after=-1") as socket:
        async for message in socket:
            if message[:15] != '{"type":"event"':
                continue
            told = orjson.loads(message)
            if told.get("received_ns"):
                latencies.append((told["server_ns"] - told["received_ns"]) * 1e-6)


class RefusedError(Exception):
    """A batch was not taken."""


class _Source:
    """A telemetry link: a packet every PACKET_S, whatever has been answered."""

    def __init__(self, base: str, sortie: str, packets: list[bytes]) -> None:
        self._base, self._sortie, self._packets = base, sortie, packets
        self._socket: ClientConnection | None = None
        self._answered = 0

    async def open(self) -> _Source:
        """Connect."""
        self._socket = await _socket(self._base, f"/v1/sorties/{self._sortie}/frames")
        return self

    async def send(self, phase: float) -> float:
        """Fly; returns by how many seconds the worst packet went out late. phase: sources don't beat together."""
        assert self._socket is not None
        answers = asyncio.create_task(self._read())
        loop = asyncio.get_running_loop()
        begun = loop.time() + phase * PACKET_S
        late_s = 0.0
        for n, packet in enumerate(self._packets):
            due = begun + n * PACKET_S
            await asyncio.sleep(max(0.0, due - loop.time()))
            late_s = max(late_s, loop.time() - due)
            await self._socket.send(packet)
        await asyncio.wait_for(answers, ANSWERS_S)
        await self._socket.close()
        return late_s

    async def _read(self) -> None:
        assert self._socket is not None
        async for message in self._socket:
            assert isinstance(message, bytes)
            if b"acked" not in message:
                raise RefusedError(msgspec.msgpack.decode(message)["error"]["code"])
            self._answered += 1
            if self._answered == len(self._packets):
                return


def seconds_per_point(spinning_s: float = SPINNING_S) -> float:
    """About how long a point takes."""
    return LEVEL_S + spinning_s + AFTER_S + 2.0
