"""A sortie with every kind of input in a real store, and archives of it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.serving_thread import frames, plan_data

from spinfloor.adapters.sqlite import open_store
from spinfloor.archive.export import export_sortie
from spinfloor.core.events import Mark
from spinfloor.core.plan.load import plan_from
from spinfloor.core.recovery.beliefs import Beliefs, Evidence
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports
from spinfloor.ports.inputs import FloorsInput, FramesInput, MarkInput, TickInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

SORTIE = "arc-1"
LEARNT = Evidence("earlier", 1, 5, "upright", "left", "steep", 1.25, 310.0, 900.0)


def record() -> SortieRecord:
    """With what an earlier spin taught, so that the run depends on it."""
    plan = plan_from(plan_data(data_age_limit_s=0.5))
    beliefs = Beliefs.from_plan(plan).learn(LEARNT).as_json()
    notes: dict[str, Any] = {"card": "B1"}
    return SortieRecord(
        SORTIE, SortieKind.FLIGHT, 1_900_000_000_000_000_000, plan.aircraft.name, plan_data(data_age_limit_s=0.5),
        beliefs, 3, notes,
    )  # fmt: skip


@asynccontextmanager
async def store(folder: Path) -> AsyncIterator[Ports]:
    """A real SQLite store."""
    ports = open_store(folder)
    try:
        yield ports
    finally:
        await ports.close()


async def fly(ports: Ports) -> SortieRecord:
    """Frames in batches; in the first spin a mark, a gap with ticks and new floors; journalled, and made into events."""
    sortie, block = record(), frames()
    await ports.sorties.create(sortie)
    inputs = ports.inputs
    for sequence, first in enumerate(range(0, 300, 25)):
        await inputs.append(SORTIE, FramesInput("nose boom", sequence, 7, block.slice(first, first + 25)))
    spin_ns = int(block.time_ns[299])
    note = Mark("note", spin_ns, "test engineer", {"text": "buffet, ça va", "weight": 0.1})
    await inputs.append(SORTIE, MarkInput(note, 8, key="n1"))
    for k in range(1, 5):
        await inputs.append(SORTIE, TickInput(spin_ns + k * 200_000_000, 9))
    floors = {**plan_data()["floors"], "recovery_ft": 6_100.0}
    await inputs.append(SORTIE, FloorsInput(floors, spin_ns + 10, "test conductor", 10))
    await ports.audit.add(AuditRecord(11, "test conductor", "floors", SORTIE, {"floors": floors}))
    await inputs.append(SORTIE, FramesInput("nose boom", 12, 11, block.slice(330, 330)))
    await inputs.append(SORTIE, FramesInput("tail, spare", 0, 12, block.slice(330, len(block))))
    reached = -1
    while reached < (newest := await inputs.newest_offset(SORTIE)):  # ticks of its own may have come at the very end
        await detect(ports, newest)
        reached = newest
    return sortie


async def detect(ports: Ports, newest: int) -> None:
    """What is journalled through the detector."""
    supervisor = Supervisor(ports, owner="embedded")
    supervisor.warm.set()
    try:
        runtime = await supervisor.runtime(SORTIE)
        assert runtime is not None
        await runtime.reached(newest)
    finally:
        await supervisor.close()


async def exported(ports: Ports, folder: Path, sortie: str = SORTIE) -> bytes:
    """The archive's bytes."""
    await asyncio.to_thread(folder.mkdir)

    async def settled(_sortie: str) -> bool:
        return True

    path = await export_sortie(ports, await ports.sorties.get(sortie), folder, settle=settled)
    return await asyncio.to_thread(path.read_bytes)


@cache
def archive_bytes() -> bytes:
    """The archive of the sortie, made once in a process."""

    async def make(folder: Path) -> bytes:
        async with store(folder / "store") as ports:
            await fly(ports)
            return await exported(ports, folder / "x")

    with TemporaryDirectory() as folder:
        return asyncio.run(make(Path(folder)))
