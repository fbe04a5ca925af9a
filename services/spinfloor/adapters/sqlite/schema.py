"""The SQLite schema as an ordered list of migrations; `PRAGMA user_version` counts how many have been applied."""

from __future__ import annotations

import sqlite3
from typing import Final

from spinfloor.ports.errors import StorageError

MIGRATIONS: Final[tuple[str, ...]] = (
    """
    CREATE TABLE sorties (
        ref INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, created_ns INTEGER NOT NULL,
        aircraft TEXT NOT NULL, plan BLOB NOT NULL, beliefs BLOB, belief_version INTEGER NOT NULL, notes BLOB NOT NULL);
    CREATE INDEX sorties_by_aircraft ON sorties (aircraft, ref);
    -- identity: a batch is (source, sequence); a mark with a key has source 'key:...' behind a NUL and sequence 0.
    CREATE TABLE inputs (
        sortie INTEGER NOT NULL REFERENCES sorties (ref), position INTEGER NOT NULL, kind INTEGER NOT NULL,
        source TEXT, sequence INTEGER, received_ns INTEGER NOT NULL,
        first_ns INTEGER NOT NULL, last_ns INTEGER NOT NULL, rows INTEGER NOT NULL, body BLOB NOT NULL);
    CREATE UNIQUE INDEX inputs_by_position ON inputs (sortie, position);
    CREATE UNIQUE INDEX inputs_by_identity ON inputs (sortie, source, sequence) WHERE source IS NOT NULL;
    CREATE INDEX inputs_by_time ON inputs (sortie, first_ns, last_ns, rows, position) WHERE kind = 0;
    CREATE TABLE runs (
        ref INTEGER PRIMARY KEY, sortie INTEGER NOT NULL REFERENCES sorties (ref), run TEXT NOT NULL,
        opened INTEGER NOT NULL, UNIQUE (sortie, run));
    CREATE TABLE events (
        run INTEGER NOT NULL REFERENCES runs (ref), sequence INTEGER NOT NULL, kind TEXT NOT NULL,
        time_ns INTEGER NOT NULL, detected_ns INTEGER NOT NULL, data BLOB NOT NULL,
        PRIMARY KEY (run, sequence)) WITHOUT ROWID;
    CREATE TABLE checkpoints (
        run INTEGER PRIMARY KEY REFERENCES runs (ref), position INTEGER NOT NULL, next_sequence INTEGER NOT NULL,
        data BLOB NOT NULL, memo BLOB NOT NULL);
    CREATE TABLE leases (
        sortie TEXT PRIMARY KEY, owner TEXT NOT NULL, fence INTEGER NOT NULL, expires_ns INTEGER NOT NULL);
    CREATE TABLE beliefs (
        aircraft TEXT NOT NULL, version INTEGER NOT NULL, created_ns INTEGER NOT NULL, cause_key TEXT NOT NULL,
        beliefs BLOB NOT NULL, cause BLOB NOT NULL, PRIMARY KEY (aircraft, version), UNIQUE (aircraft, cause_key));
    CREATE TABLE audit (
        position INTEGER PRIMARY KEY AUTOINCREMENT, at_ns INTEGER NOT NULL, actor TEXT NOT NULL, action TEXT NOT NULL,
        sortie TEXT, data BLOB NOT NULL);
    CREATE INDEX audit_by_sortie ON audit (sortie, position);
    CREATE TABLE tokens (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL, hash_hex TEXT NOT NULL,
        created_ns INTEGER NOT NULL, expires_ns INTEGER NOT NULL, revoked_ns INTEGER NOT NULL);
    """,
    # What a question for readiness writes, so that the answer means that something can be written.
    """
    CREATE TABLE probe (id INTEGER PRIMARY KEY CHECK (id = 1), data BLOB NOT NULL);
    """,
    # Browsers stay signed in over a restart.
    """
    CREATE TABLE sessions (
        hash_hex TEXT PRIMARY KEY, token_id TEXT NOT NULL, created_ns INTEGER NOT NULL, expires_ns INTEGER NOT NULL);
    """,
)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring a database up to date, each step in its own transaction.

    Raises StorageError when the database was written by a newer version.
    """
    have = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if have > len(MIGRATIONS):
        raise StorageError(
            expected=f"a database of schema version {len(MIGRATIONS)} or older",
            got=f"schema version {have}, written by a newer spinfloor",
            now="nothing was opened or changed; use the newer version",
        )
    for number in range(have, len(MIGRATIONS)):
        connection.executescript(f"BEGIN IMMEDIATE;{MIGRATIONS[number]};PRAGMA user_version = {number + 1};COMMIT;")
