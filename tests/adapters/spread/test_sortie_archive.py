"""A sortie of the one-process way carried over into the spread-out one, and out of it again."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from tests.archive.archived import SORTIE, exported, fly, store
from tests.servers.processes import NatsServer, PostgresServer

from spinfloor.adapters.spread import open_spread
from spinfloor.archive.bench import Bench
from spinfloor.archive.importing import import_sortie
from spinfloor.archive.rerun_model import NewRerun
from spinfloor.archive.reruns import Reruns

pytestmark = pytest.mark.servers


def put(folder: Path, data: bytes) -> Path:
    (folder / "parts").mkdir(parents=True)
    (folder / "a.zip").write_bytes(data)
    return folder / "a.zip"


async def test_the_same_events_there_and_the_same_archive_back(
    nats_server: NatsServer, postgres_server: PostgresServer, tmp_path: Path
) -> None:
    url = await asyncio.to_thread(postgres_server.database, "carried")
    spread = await open_spread(nats_url=nats_server.url, database_url=url, prefix="carried")
    bench = Bench(1)
    try:
        async with store(tmp_path / "from") as ports:
            await fly(ports)
            data = await exported(ports, tmp_path / "x")
            flown = [e.as_record() for e in await ports.events.read(SORTIE, limit=10_000)]
        path = await asyncio.to_thread(put, tmp_path / "in", data)
        done = await import_sortie(
            spread.ports, bench, path, tmp_path / "in" / "parts", sortie=None, keep_differences=False, by="test"
        )
        assert done.comparison.outcome == "same"
        assert [e.as_record() for e in await spread.ports.events.read(SORTIE, limit=10_000)] == flown
        reruns = Reruns(spread.ports, bench)
        job = await reruns.start(NewRerun(sorties=[SORTIE], plan={"floors": {"recovery_ft": 9_000.0}}))
        assert job.task is not None
        await job.task
        (one,) = job.sorties
        assert (one.state, one.same, one.problem) == ("done", False, None)
        assert await spread.ports.events.current_run(SORTIE) == one.flown
        assert await spread.ports.events.runs(SORTIE) == [one.flown, one.run]
        await spread.copier.catch_up()
        back = await exported(spread.ports, tmp_path / "y")
        async with store(tmp_path / "to") as ports:
            path = await asyncio.to_thread(put, tmp_path / "back", back)
            again = await import_sortie(
                ports, bench, path, tmp_path / "back" / "parts", sortie=None, keep_differences=False, by="test"
            )
            assert again.comparison.outcome == "same"
            assert [e.as_record() for e in await ports.events.read(SORTIE, limit=10_000)] == flown
            assert await ports.events.runs(SORTIE) == [one.flown, one.run]
    finally:
        await bench.close()
        await spread.ports.close()
