"""Opening SQLite the one way this product opens it."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from spinfloor.ports.errors import StorageError


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """A connection in autocommit mode: WAL, synchronous FULL (a commit is on disk when it returns).

    Checkpoints are run by `log_keeper`, so that commits pay for none as long as the log is short.
    """
    uri = f"{path.absolute().as_uri()}{'?mode=ro' if read_only else ''}"
    try:
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=10.0)
        connection.execute("PRAGMA busy_timeout = 10000")
        if not read_only:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA wal_autocheckpoint = 0")
            connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA cache_size = -16384")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.Error as exc:
        raise storage_error(exc) from exc
    return connection


def changed_rows(connection: sqlite3.Connection, sql: str, values: Sequence[Any]) -> int:
    """Run a statement; how many rows it put in, changed or took out.

    Not by the cursor's `rowcount`: up to CPython 3.12 it asks the locale for the small letters of INSERT, and in a
    Turkish one it is -1.
    """
    before = connection.total_changes
    connection.execute(sql, values)
    return connection.total_changes - before


def storage_error(exc: Exception) -> StorageError:
    """The driver's error as ours, with a sentence an operator can act on."""
    return StorageError(
        expected="the database to take or give data",
        got=str(exc) or type(exc).__name__,
        now="nothing was acknowledged; check the disk's space, its mount and the file, the data so far is kept",
    )
