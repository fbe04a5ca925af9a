"""Reading beside the writer: a few threads, each with its own connection, so that the event loop never waits."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from spinfloor.adapters.sqlite.connection import connect, storage_error

T = TypeVar("T")


class Reader:
    """Runs queries on threads; every query sees everything that was committed before it began."""

    def __init__(self, path: Path, *, threads: int = 2) -> None:
        self._path = path
        self._pool = ThreadPoolExecutor(max_workers=threads, thread_name_prefix="sqlite-reader")
        self._local = threading.local()
        self._connections: list[sqlite3.Connection] = []
        self._lock = threading.Lock()

    def _connection(self) -> sqlite3.Connection:
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is None:
            connection = connect(self._path, read_only=True)
            self._local.connection = connection
            with self._lock:
                self._connections.append(connection)
        return connection

    async def run(self, query: Callable[[sqlite3.Connection], T]) -> T:
        """Run a function of the connection on a reading thread. Raises StorageError."""

        def work() -> T:
            try:
                return query(self._connection())
            except sqlite3.Error as exc:
                raise storage_error(exc) from exc

        return await asyncio.get_running_loop().run_in_executor(self._pool, work)

    async def rows(self, sql: str, parameters: Sequence[object] = ()) -> list[Any]:
        """All rows of one query."""
        return await self.run(lambda connection: connection.execute(sql, parameters).fetchall())

    def close(self) -> None:
        """End the threads and close their connections."""
        self._pool.shutdown(wait=True)
        for connection in self._connections:
            connection.close()
