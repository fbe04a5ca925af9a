"""Opening the embedded store: one directory, one process, one database file."""

from __future__ import annotations

import asyncio
import fcntl
import os
import sqlite3
import time
from pathlib import Path
from typing import Final

from spinfloor.adapters.memory_bus import MemoryBus
from spinfloor.adapters.sqlite.audit import SqliteAudit
from spinfloor.adapters.sqlite.beliefs import SqliteBeliefs
from spinfloor.adapters.sqlite.checkpoints import SqliteCheckpoints
from spinfloor.adapters.sqlite.connection import connect, storage_error
from spinfloor.adapters.sqlite.events import SqliteEvents
from spinfloor.adapters.sqlite.fences import SqliteLeases
from spinfloor.adapters.sqlite.frames import SqliteFrames
from spinfloor.adapters.sqlite.inputs import SqliteInputs
from spinfloor.adapters.sqlite.log_keeper import LogKeeper
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.schema import migrate
from spinfloor.adapters.sqlite.sessions import SqliteSessions
from spinfloor.adapters.sqlite.sorties import SqliteSorties
from spinfloor.adapters.sqlite.tokens import SqliteTokens
from spinfloor.adapters.sqlite.writer import PENDING_BYTES, PENDING_COUNT, Writer
from spinfloor.adapters.system_clock import SystemClock
from spinfloor.ports.bundle import Ports
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import OverloadedError, StorageError

DATABASE_NAME: Final = "spinfloor.sqlite3"
LOCK_NAME: Final = "spinfloor.lock"
LOCK_WITHIN_S: Final = 2.0  # a killed process still holds it while the system takes it apart


class _DirectoryLock:
    """Two servers on one directory would each believe that they are the only writer."""

    def __init__(self, directory: Path) -> None:
        self._handle = os.open(directory / LOCK_NAME, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            self._take(time.monotonic() + LOCK_WITHIN_S)
        except BlockingIOError as exc:
            os.close(self._handle)
            raise StorageError(
                expected="a data directory nobody else is using",
                got=f"{directory.name}, which a running spinfloor holds",
                now="this one does not start; stop the other or choose another --data directory",
            ) from exc

    def _take(self, end: float) -> None:
        while True:
            try:
                fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() > end:
                    raise
                time.sleep(0.02)
            else:
                return

    def release(self) -> None:
        os.close(self._handle)


def _prepare(directory: Path) -> None:
    try:
        directory.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as exc:
        raise storage_error(exc) from exc
    connection = connect(directory / DATABASE_NAME)
    try:
        migrate(connection)
    except sqlite3.Error as exc:
        raise storage_error(exc) from exc
    finally:
        connection.close()


def open_store(
    directory: Path,
    *,
    clock: Clock | None = None,
    waiting: int = PENDING_COUNT,
    waiting_bytes: int = PENDING_BYTES,
) -> Ports:
    """Open (or create) the store in a directory. Raises StorageError when it can't be used.

    waiting, waiting_bytes: how many batches of one sortie, and how many bytes of them, may wait for the disk.
    """
    clock = clock or SystemClock()
    try:
        directory.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = _DirectoryLock(directory)
    except OSError as exc:
        raise storage_error(exc) from exc
    _prepare(directory)
    path = directory / DATABASE_NAME
    writer = Writer(path, waiting=waiting, waiting_bytes=waiting_bytes)
    writer.start()
    reader = Reader(path)
    keeper = LogKeeper(path, writer.finish_log)
    inputs = SqliteInputs(writer, reader)

    async def ready() -> str | None:
        try:
            await writer.probe()
        except (StorageError, OverloadedError) as exc:
            return exc.sentence
        return None

    async def close() -> None:
        await asyncio.to_thread(_close, writer, reader, keeper, lock)

    return Ports(
        sorties=SqliteSorties(writer, reader),
        inputs=inputs,
        frames=SqliteFrames(reader),
        events=SqliteEvents(writer, reader),
        checkpoints=SqliteCheckpoints(writer, reader),
        leases=SqliteLeases(writer, clock),
        bus=MemoryBus(),
        beliefs=SqliteBeliefs(writer, reader),
        audit=SqliteAudit(writer, reader),
        tokens=SqliteTokens(writer, reader),
        sessions=SqliteSessions(writer, reader),
        clock=clock,
        ready=ready,
        close=close,
        gauges=lambda: {"store_queue": writer.depth, "store_commits": writer.commits, "store_writes": writer.written},
    )


def _close(writer: Writer, reader: Reader, keeper: LogKeeper, lock: _DirectoryLock) -> None:
    writer.close()
    reader.close()
    keeper.stop()  # the last connection to close moves the rest of the log, so it must be one that can write
    lock.release()
