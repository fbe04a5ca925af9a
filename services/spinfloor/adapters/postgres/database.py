"""The pool of connections to PostgreSQL, and its errors as ours."""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from typing import Any, Final

import asyncpg
import orjson

from spinfloor.core.events import Json
from spinfloor.ports.errors import StorageError

ANSWER_LIMIT_S: Final = 10.0
CONNECTIONS: Final = 8
# The last of them: a line that goes in the middle of a statement finds the driver between two states.
LOST: Final = (asyncpg.PostgresConnectionError, asyncpg.InterfaceError, OSError, asyncpg.InternalClientError)


@contextmanager
def translated(what: str) -> Iterator[None]:
    """Turn the driver's errors into ours; the driver's text never holds the password."""
    try:
        yield
    except (asyncpg.PostgresError, *LOST, TimeoutError) as error:
        raise StorageError(
            expected=f"the archive database to answer ({what})",
            got=str(error) or type(error).__name__,
            now="nothing was acknowledged; it is tried again when it is back",
        ) from error


_PROBE: Final = "INSERT INTO probe VALUES ($1, now()) ON CONFLICT (process) DO UPDATE SET at = excluded.at"


class Database:
    """Runs statements on pooled connections; after a restart of the server new ones are made."""

    def __init__(self, pool: Any) -> None:
        self.pool = pool
        self._process = uuid.uuid4().hex  # so that processes don't wait for each other's row

    @classmethod
    async def connect(cls, url: str, *, wait_s: float = 10.0) -> Database:
        """Open the pool within `wait_s`. `url` may hold a secret and is never put into an error."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + wait_s
        while True:
            try:
                with translated("connecting"):
                    return cls(await _pool(url))
            except StorageError:
                if loop.time() > deadline:
                    raise
            await asyncio.sleep(0.2)

    async def rows(self, sql: str, *arguments: object) -> list[Any]:
        """Read; a connection that broke while idle is replaced and the statement run once more."""
        with translated("reading"):
            try:
                return list(await self.pool.fetch(sql, *arguments))
            except LOST:
                return list(await self.pool.fetch(sql, *arguments))

    @asynccontextmanager
    async def transaction(self, what: str) -> AsyncIterator[Any]:
        """A connection in a transaction; committed and on disk when the block ends."""
        with translated(what):
            async with self.pool.acquire() as connection, connection.transaction():
                yield connection

    async def ready(self) -> str | None:
        """What is wrong, None when a row could be written and is on disk."""
        try:
            async with self.transaction("writing for the sake of writing") as connection:
                await connection.execute("DELETE FROM probe WHERE at < now() - interval '1 day'")
                await connection.execute(_PROBE, self._process)
        except StorageError as error:
            return error.sentence
        return None

    async def close(self) -> None:
        """Close every connection."""
        try:
            await asyncio.wait_for(self.pool.close(), 2.0)
        except (TimeoutError, OSError, asyncpg.InterfaceError):
            self.pool.terminate()


async def _pool(url: str) -> Any:
    return await asyncpg.create_pool(
        url,
        min_size=1,
        max_size=CONNECTIONS,
        timeout=5.0,
        command_timeout=ANSWER_LIMIT_S,
        server_settings={"application_name": "spinfloor"},
    )


def without_nul(text: str) -> str:
    """PostgreSQL's text has no NUL; it is shown by its picture."""
    return text.replace("\0", "\u2400")


def dumped(record: Mapping[str, Json] | None) -> str | None:
    """JSON text for a json column."""
    return None if record is None else orjson.dumps(dict(record)).decode()
