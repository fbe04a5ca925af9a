"""The write-ahead log stays short although commits follow one another without a pause, as they do in flight."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from spinfloor.adapters.sqlite.connection import connect
from spinfloor.adapters.sqlite.log_keeper import LogKeeper
from spinfloor.adapters.sqlite.schema import migrate
from spinfloor.adapters.sqlite.writer import Writer

PAGES = 16


@pytest.fixture
def path(tmp_path: Path) -> Path:
    connection = connect(tmp_path / "log.sqlite3")
    migrate(connection)
    connection.close()
    return tmp_path / "log.sqlite3"


@pytest.fixture
def writer(path: Path) -> Iterator[Writer]:
    made = Writer(path)
    made.start()
    yield made
    made.close()


async def write(writer: Writer) -> None:
    def run(connection: sqlite3.Connection) -> None:
        connection.execute("INSERT OR REPLACE INTO probe VALUES (1, zeroblob(?))", (PAGES * 4096,))

    await writer.submit("probe", run)


def begun(path: Path) -> int:
    """How often the log has begun anew: bytes 12 to 16 of its header (the file format's own page)."""
    return int.from_bytes(path.with_name(path.name + "-wal").read_bytes()[12:16], "big")


async def test_a_long_log_begins_anew_with_the_next_commit_but_one(writer: Writer, path: Path) -> None:
    await write(writer)
    before = begun(path)
    await write(writer)
    assert begun(path) == before
    writer.finish_log()
    await write(writer)  # behind this one the writer moves what is left
    await write(writer)
    assert begun(path) == before + 1


async def test_the_keeper_asks_when_the_log_is_long(writer: Writer, path: Path) -> None:
    asked = threading.Event()
    keeper = LogKeeper(path, asked.set, every_s=0.01, long_pages=PAGES // 2)
    await write(writer)
    assert await asyncio.to_thread(asked.wait, 10.0)
    keeper.stop()


async def test_the_log_is_gone_when_all_are_closed(writer: Writer, path: Path) -> None:
    keeper = LogKeeper(path, writer.finish_log, every_s=0.01)
    await write(writer)
    writer.close()
    keeper.stop()
    assert not path.with_name(path.name + "-wal").exists()
