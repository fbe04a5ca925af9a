"""What only the SQLite store does: group commit, one owner of a folder, migrations, trouble with the disk."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from pathlib import Path

import numpy as np
import pytest

from spinfloor.adapters.sqlite import DATABASE_NAME, open_store
from spinfloor.adapters.sqlite.connection import changed_rows
from spinfloor.adapters.sqlite.inputs import TAILS_HELD, SqliteInputs
from spinfloor.adapters.sqlite.schema import MIGRATIONS
from spinfloor.adapters.sqlite.writer import PENDING_COUNT, Writer
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import OverloadedError, StorageError, UnknownSortieError
from spinfloor.ports.inputs import FramesInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

RECORD = SortieRecord("s", SortieKind.FLIGHT, 1, "aircraft", {"title": "t"})


def batch(sequence: int) -> FramesInput:
    block = FrameBlock(np.array([sequence], np.int64), np.ones((1, CHANNEL_COUNT)))
    return FramesInput("t", sequence, 0, block)


async def disk_held(ports: Ports, let_go: threading.Event) -> bool:
    """Work that keeps the only writer busy until it is let go."""
    assert isinstance(ports.inputs, SqliteInputs)
    return await ports.inputs._writer.submit("disk", lambda _: let_go.wait(20.0))


async def test_what_gathers_during_a_commit_shares_the_next(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    await ports.sorties.create(RECORD)
    before = ports.gauges()
    await asyncio.gather(*(ports.inputs.append("s", batch(n)) for n in range(500)))
    after = ports.gauges()
    assert after["store_writes"] - before["store_writes"] == 500
    assert after["store_commits"] - before["store_commits"] < 250
    await ports.close()


async def test_a_full_queue_is_told_at_once_and_another_sortie_is_not_held_up(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    await ports.sorties.create(RECORD)
    await ports.sorties.create(SortieRecord("calm", SortieKind.FLIGHT, 1, "aircraft", {"title": "t"}))
    busy = threading.Event()
    writing = asyncio.create_task(disk_held(ports, busy))
    flood = [asyncio.create_task(ports.inputs.append("s", batch(n))) for n in range(PENDING_COUNT * 3)]
    calm_one = asyncio.create_task(ports.inputs.append("calm", batch(0)))
    await asyncio.wait(flood, return_when=asyncio.FIRST_COMPLETED)  # the first to be refused
    busy.set()
    calm = await calm_one
    assert await writing
    outcomes = await asyncio.gather(*flood, return_exceptions=True)
    assert calm.offset == 0
    refused = [o for o in outcomes if isinstance(o, OverloadedError)]
    taken = [o for o in outcomes if not isinstance(o, BaseException)]
    assert refused
    assert len(refused) + len(taken) == len(flood)
    assert (await ports.frames.extent("s")).frames == len(taken)
    await ports.close()


async def test_sorties_that_have_gone_quiet_hold_no_memory_and_are_followed_from_disk(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    for n in range(TAILS_HELD + 10):
        await ports.sorties.create(SortieRecord(f"s{n}", SortieKind.FLIGHT, 1, "aircraft", {"title": "t"}))
        await ports.inputs.append(f"s{n}", batch(0))
    assert isinstance(ports.inputs, SqliteInputs)
    assert sum(len(tail.entries) for tail in ports.inputs._tails.values()) == TAILS_HELD
    followed = ports.inputs.follow("s0")
    assert [entry.offset for entry in await anext(followed)] == [0]
    await ports.inputs.append("s0", batch(1))
    assert [entry.offset for entry in await anext(followed)] == [1]
    await ports.close()


async def test_one_refused_piece_of_a_group_does_not_fail_the_others(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    await ports.sorties.create(RECORD)
    good, bad, also = await asyncio.gather(
        ports.inputs.append("s", batch(0)),
        ports.inputs.append("nobody", batch(0)),
        ports.inputs.append("s", batch(1)),
        return_exceptions=True,
    )
    assert isinstance(bad, UnknownSortieError)
    assert not isinstance(good, BaseException)
    assert not isinstance(also, BaseException)
    await ports.close()


async def test_a_repeat_in_a_shared_commit_takes_no_place_and_leaves_no_hole(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    for name in ("s", "t"):
        await ports.sorties.create(SortieRecord(name, SortieKind.FLIGHT, 1, "aircraft", {"title": "t"}))
    await ports.inputs.append("s", batch(0))
    busy = threading.Event()
    writing = asyncio.create_task(disk_held(ports, busy))
    asked = [("s", 1), ("t", 0), ("s", 0), ("s", 1), ("t", 1), ("s", 2)]
    appending = [asyncio.create_task(ports.inputs.append(sortie, batch(n))) for sortie, n in asked]
    for _ in asked:
        await asyncio.sleep(0)  # all of them wait behind the busy disk
    busy.set()
    assert await writing
    results = [(a.offset, a.duplicate) for a in await asyncio.gather(*appending)]
    assert results == [(1, False), (0, False), (0, True), (1, True), (1, False), (2, False)]
    for name, last in (("s", 2), ("t", 1)):
        entries = await ports.inputs.read(name)
        stored = [(e.offset, e.input.sequence) for e in entries if isinstance(e.input, FramesInput)]
        assert stored == [(n, n) for n in range(last + 1)]
    await ports.close()


def test_two_servers_on_one_folder_are_refused(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    with pytest.raises(StorageError, match="nobody else is using"):
        open_store(tmp_path)
    asyncio.run(ports.close())
    asyncio.run(open_store(tmp_path).close())


def test_a_newer_database_is_left_alone(tmp_path: Path) -> None:
    asyncio.run(open_store(tmp_path).close())
    with sqlite3.connect(tmp_path / DATABASE_NAME) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    connection.close()
    with pytest.raises(StorageError, match="newer"):
        open_store(tmp_path)


def test_a_damaged_database_gives_a_sentence(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).write_bytes(b"no database at all" * 500)
    with pytest.raises(StorageError, match="kept"):
        open_store(tmp_path)


async def test_a_full_disk_fails_what_waits_keeps_what_was_and_goes_on_afterwards(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "full.sqlite3")
    writer.start()
    await writer.submit("k", lambda c: c.execute("CREATE TABLE t (x BLOB)").rowcount)
    pages = (await writer.submit("k", lambda c: c.execute("PRAGMA page_count").fetchone()))[0]
    await writer.submit("k", lambda c: c.execute(f"PRAGMA max_page_count = {pages + 8}").fetchone())
    await writer.submit("k", lambda c: changed_rows(c, "INSERT INTO t VALUES ('kept')", ()))
    with pytest.raises(StorageError, match="full"):
        await writer.submit("k", lambda c: changed_rows(c, "INSERT INTO t VALUES (zeroblob(1000000))", ()))
    assert writer.failed_bytes > 0
    await writer.submit("k", lambda c: c.execute("PRAGMA max_page_count = 100000").fetchone())
    assert await writer.submit("k", lambda c: changed_rows(c, "INSERT INTO t VALUES ('more')", ())) == 1
    assert await writer.submit("k", lambda c: c.execute("SELECT x FROM t").fetchall()) == [("kept",), ("more",)]
    await asyncio.to_thread(writer.close)
