"""Keeping the write-ahead log short: what is in it is moved into the database beside the commits, and it begins anew.

The log begins anew with the first commit that finds all of it moved. While frames come in, commits follow one another so
closely that there is always something that has come since the last look; so once the log is long the writer itself moves
that rest, between two commits.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from spinfloor.adapters.sqlite.connection import connect

EVERY_S: Final = 1.0
LONG_PAGES: Final = 16_384  # 64 MiB
MUCH: Final = 16  # the writer is not asked while more than this share of a long log is left: it would take too long


class LogKeeper:
    """A thread with a connection of its own. finish: asks the writer to move the rest of a long log."""

    def __init__(
        self, path: Path, finish: Callable[[], None], *, every_s: float = EVERY_S, long_pages: int = LONG_PAGES
    ) -> None:
        self._path = path
        self._finish = finish
        self._every_s = every_s
        self._long_pages = long_pages
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="sqlite-log", daemon=True)
        self._thread.start()

    def _loop(self) -> None:
        connection = connect(self._path)
        while not self._stop.wait(self._every_s):
            try:
                pages, moved = move_log(connection)
            except sqlite3.Error:
                continue  # busy, or the disk is full: the log stays as it is and the next round tries again
            if pages >= self._long_pages and pages - moved <= self._long_pages // MUCH:
                self._finish()
        connection.close()

    def stop(self) -> None:
        """End the thread."""
        self._stop.set()
        self._thread.join()


def move_log(connection: sqlite3.Connection) -> tuple[int, int]:
    """Move the log into the database as far as readers allow; pages it holds, and how many are moved. Waits for nobody."""
    _, pages, moved = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    return int(pages), int(moved)
