"""The PostgreSQL schema as an ordered list of migrations; `schema_version` counts how many have been applied."""

from __future__ import annotations

from typing import Any, Final

from spinfloor.adapters.postgres.database import Database
from spinfloor.ports.errors import StorageError

# Any constant; it keeps two processes from migrating at once.
MIGRATION_LOCK: Final = 7_310_001

# json, not jsonb: kept as written, so that a plan compares equal and numbers keep every digit.
MIGRATIONS: Final[tuple[str, ...]] = (
    """
    CREATE TABLE sorties (
        ref bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, id text NOT NULL UNIQUE, kind text NOT NULL,
        created_ns bigint NOT NULL, aircraft text NOT NULL, plan json NOT NULL, beliefs json,
        belief_version integer NOT NULL, notes json NOT NULL);
    CREATE INDEX sorties_by_aircraft ON sorties (aircraft, ref);
    CREATE TABLE belongs_to (prefix text NOT NULL);
    -- what the message streams carry, position by position; `copied` says how far each has been copied.
    CREATE TABLE copied (stream text PRIMARY KEY, position bigint NOT NULL);
    INSERT INTO copied VALUES ('inputs', 0), ('events', 0);
    CREATE TABLE inputs (
        sortie text NOT NULL, position bigint NOT NULL, kind smallint NOT NULL, source text, sequence bigint, key text,
        received_ns bigint NOT NULL, first_ns bigint NOT NULL, last_ns bigint NOT NULL, rows integer NOT NULL,
        body bytea NOT NULL, PRIMARY KEY (sortie, position));
    -- doubles don't compress; trying would cost more than it saves
    ALTER TABLE inputs ALTER COLUMN body SET STORAGE EXTERNAL;
    CREATE UNIQUE INDEX inputs_by_batch ON inputs (sortie, source, sequence) WHERE kind = 0;
    CREATE UNIQUE INDEX inputs_by_key ON inputs (sortie, key) WHERE key IS NOT NULL;
    CREATE INDEX inputs_by_time ON inputs (sortie, first_ns, last_ns) WHERE kind = 0;
    CREATE TABLE sources (
        sortie text NOT NULL, source text NOT NULL, last_sequence bigint NOT NULL, batches bigint NOT NULL,
        frames bigint NOT NULL, last_time_ns bigint NOT NULL, PRIMARY KEY (sortie, source));
    CREATE TABLE runs (
        sortie text NOT NULL, run text NOT NULL, opened bigint NOT NULL, PRIMARY KEY (sortie, run));
    CREATE TABLE events (
        sortie text NOT NULL, run text NOT NULL, sequence bigint NOT NULL, kind text NOT NULL,
        time_ns bigint NOT NULL, detected_ns bigint NOT NULL, body bytea NOT NULL,
        PRIMARY KEY (sortie, run, sequence));
    CREATE TABLE beliefs (
        aircraft text NOT NULL, version integer NOT NULL, created_ns bigint NOT NULL, cause_key text NOT NULL,
        beliefs json NOT NULL, cause json NOT NULL, PRIMARY KEY (aircraft, version), UNIQUE (aircraft, cause_key));
    CREATE TABLE audit (
        position bigint PRIMARY KEY, at_ns bigint NOT NULL, actor text NOT NULL, action text NOT NULL,
        sortie text, data json NOT NULL);
    CREATE INDEX audit_by_sortie ON audit (sortie, position);
    CREATE TABLE tokens (
        id text PRIMARY KEY, name text NOT NULL, role text NOT NULL, hash_hex text NOT NULL,
        created_ns bigint NOT NULL, expires_ns bigint NOT NULL, revoked_ns bigint NOT NULL);
    """,
    # Browsers stay signed in over a restart, and at whichever screen process they reach.
    """
    CREATE TABLE sessions (
        hash_hex text PRIMARY KEY, token_id text NOT NULL, created_ns bigint NOT NULL, expires_ns bigint NOT NULL);
    """,
    # What a question for readiness writes, so that the answer means that something can be written.
    """
    CREATE TABLE probe (process text PRIMARY KEY, at timestamptz NOT NULL);
    """,
)


async def migrate(database: Database) -> None:
    """Bring the database up to date, each step in its own transaction, one process at a time.

    Raises StorageError when the database was written by a newer version.
    """
    done = False
    while not done:
        async with database.transaction("migrating") as connection:
            await connection.execute("SELECT pg_advisory_xact_lock($1)", MIGRATION_LOCK)
            done = await _step(connection)


async def claim(database: Database, prefix: str) -> None:
    """Tie the database to the message streams of one prefix, whose positions it holds. Raises StorageError."""
    async with database.transaction("looking whose archive it is") as connection:
        await connection.execute("SELECT pg_advisory_xact_lock($1)", MIGRATION_LOCK)
        owner = await connection.fetchval("SELECT prefix FROM belongs_to")
        if owner is None:
            await connection.execute("INSERT INTO belongs_to VALUES ($1)", prefix)
    if owner not in (None, prefix):
        raise StorageError(
            expected=f"an archive of the message streams {prefix!r}",
            got=f"that of the streams {owner!r}",
            now="nothing was opened; use a database of its own, or the same prefix",
        )


async def _step(connection: Any) -> bool:
    """Apply the next migration; True when there is none left."""
    await connection.execute("CREATE TABLE IF NOT EXISTS schema_version (version integer NOT NULL)")
    have = int(await connection.fetchval("SELECT coalesce(max(version), 0) FROM schema_version"))
    if have > len(MIGRATIONS):
        raise StorageError(
            expected=f"a database of schema version {len(MIGRATIONS)} or older",
            got=f"schema version {have}, written by a newer spinfloor",
            now="nothing was changed; use the newer version",
        )
    if have == len(MIGRATIONS):
        return True
    await connection.execute(MIGRATIONS[have])
    await connection.execute("DELETE FROM schema_version")
    await connection.execute("INSERT INTO schema_version VALUES ($1)", have + 1)
    return False
