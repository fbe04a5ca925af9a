"""The line to the NATS servers: connecting, the streams, reading what is stored, and telling what went wrong.

Reads go straight to the stream by sequence or subject; a reader that stops costs nothing. Whoever follows a stream is handed
what is stored (`pushes`), and reads again whenever it is not sure to have got everything.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from dataclasses import dataclass
from typing import Any, Final

import nats.errors
import nats.js.errors
from nats.aio.client import Client
from nats.js import api

from spinfloor.adapters.nats.acks import Acks
from spinfloor.adapters.nats.gathering import Headers, RefusedWholeError, publish_together
from spinfloor.adapters.nats.pushes import Push, pushed
from spinfloor.adapters.nats.reads import ANSWER_LIMIT_S, Reads
from spinfloor.adapters.nats.subjects import Names
from spinfloor.ports.errors import StorageError

WRONG_LAST_SEQUENCE: Final = (10071, 10164)  # the server's error codes; the second when it names no sequence
EXPECTED_LAST: Final = "Nats-Expected-Last-Subject-Sequence"
EXPECTED_LAST_SUBJECT: Final = "Nats-Expected-Last-Subject-Sequence-Subject"

STORES_NOTHING: Final = (
    "Expected the message servers to store a message; got no answer, though they answer questions; nothing is acknowledged: "
    "make room on their disk and restart them, since one whose disk was full writes nothing before."
)


class WrongLastSequence(Exception):  # noqa: N818  # never leaves the adapters: an outcome, not a failure
    """Somebody wrote to the subject in between."""


@dataclass(frozen=True, slots=True)
class Stored:
    """A message as the stream keeps it; `time_ns` is the server's clock."""

    subject: str
    position: int
    headers: Mapping[str, str]
    data: bytes
    time_ns: int


@contextmanager
def translated(what: str) -> Iterator[None]:
    """Turn the driver's errors into ours."""
    try:
        yield
    except (nats.errors.Error, OSError, TimeoutError) as error:
        raise StorageError(
            expected=f"the message servers to answer ({what})",
            got=str(error) or type(error).__name__,
            now="nothing was acknowledged; it is tried again when they are back",
        ) from error


class NatsLink:
    """One connection and the streams it relies on."""

    def __init__(self, client: Client, names: Names, acks: Acks) -> None:
        self.client = client
        self.names = names
        self.js = client.jetstream(timeout=ANSWER_LIMIT_S)
        self._reads = Reads(client)
        self._acks = acks
        self._takes_batches = False  # the inputs' stream, several messages in one commit

    @classmethod
    async def connect(
        cls, url: str, *, prefix: str = "spinfloor", name: str = "spinfloor", wait_s: float = 10.0
    ) -> NatsLink:
        """Connect within `wait_s`, then keep reconnecting for ever.

        `url` may list several servers, by commas; it may hold a secret and is never put into an error.
        """
        client = Client()
        acks = Acks(client)
        with translated("connecting"):
            async with asyncio.timeout(wait_s):
                await client.connect(
                    url.split(","),
                    name=name,
                    connect_timeout=5,
                    allow_reconnect=True,
                    max_reconnect_attempts=-1,
                    reconnect_time_wait=0.1,  # type: ignore[arg-type]  # the library sleeps for it; fractions work
                    ping_interval=5,
                    max_outstanding_pings=2,
                    pending_size=0,  # while the line is down nothing is held back to be sent late
                    disconnected_cb=acks.line_broke,
                    error_cb=_ignore,  # every call reports its own failure; `ready` reports the line
                )
                await acks.open()
        return cls(client, Names(prefix), acks)

    async def prepare(self, *, first: int = 1, replicas: int = 1) -> None:
        """Create what is missing. `first`: where positions begin in new streams; past 1 there is an older archive."""
        with translated("creating the streams"):
            await self._stream("inputs", "in.>", first_seq=first, num_replicas=replicas)
            await self._stream("events", "ev.>", first_seq=first, num_replicas=replicas)
            await self._stream("checkpoints", "cp.>", max_msgs_per_subject=1, num_replicas=replicas)
            # Leases need not wait for the disk (leases.py says why); servers can do without from 2.12 on, replicated ones not.
            unsynced = {"persist_mode": api.PersistMode.ASYNC} if replicas == 1 else {}
            await self._stream("leases", "ls.>", max_msgs_per_subject=1, num_replicas=replicas, **unsynced)
            await self._stream("latest", "bus.>", max_msgs_per_subject=1, storage=api.StorageType.MEMORY,
                               max_age=6 * 3600.0)  # fmt: skip
            await self._take_batches()
            await self.client.flush()

    async def _stream(self, what: str, subjects: str, **options: Any) -> None:
        prefix = self.names.prefix
        config = api.StreamConfig(
            name=self.names.stream(what),
            subjects=[f"{prefix}.{subjects}"],
            allow_direct=True,
            # Identity is decided by subject and expected sequence, not by the server's time-limited duplicate list.
            duplicate_window=0.1,
            **options,
        )
        try:
            await self.js.add_stream(config)
        except nats.js.errors.BadRequestError as error:
            if error.err_code != 10058:  # the server's code for "in use with another configuration": keep theirs
                raise

    async def _take_batches(self) -> None:
        """Have the inputs' stream take several messages in one commit, which servers do from 2.12 on."""
        stream = self.names.stream("inputs")
        config = (await self.info("inputs"))["config"]
        if not config.get("allow_atomic"):
            asked = json.dumps({**config, "allow_atomic": True}).encode()
            answer = await self.client.request(f"$JS.API.STREAM.UPDATE.{stream}", asked, timeout=ANSWER_LIMIT_S)
            config = json.loads(answer.data).get("config", config)
        self._takes_batches = bool(config.get("allow_atomic"))

    async def info(self, what: str) -> dict[str, Any]:
        """The server's record of a stream: its state, and `ts`, the server's clock."""
        with translated("asking for a stream's state"):
            answer = await self.client.request(
                f"$JS.API.STREAM.INFO.{self.names.stream(what)}", b"", timeout=ANSWER_LIMIT_S
            )
        record: dict[str, Any] = json.loads(answer.data)
        if "error" in record:
            raise StorageError(
                expected=f"the stream {self.names.stream(what)}",
                got=str(record["error"].get("description", "an error")),
                now="nothing was read or written",
            )
        return record

    async def first_position(self, what: str) -> int:
        """Lowest position a stream may hold; past 1 something older may be in the archive only."""
        return max(1, int((await self.info(what))["state"]["first_seq"]))

    async def publish(
        self, subject: str, data: bytes, *, headers: Mapping[str, str] | None = None, last: int, over: str | None = None
    ) -> int:
        """Store a message if the newest one on `over` (default: its own subject) is at `last`; its position.

        Raises WrongLastSequence, StorageError. After a StorageError it may or may not be stored.
        """
        own = {**(headers or {}), EXPECTED_LAST: str(last)}
        if over is not None:
            own[EXPECTED_LAST_SUBJECT] = over
        return await self.store(subject, data, own)

    async def store(self, subject: str, data: bytes, headers: Mapping[str, str]) -> int:
        """Store a message; its position. Raises WrongLastSequence, StorageError."""
        try:
            with translated("storing a message"):
                return int((await self._acks.publish(subject, data, headers))["seq"])
        except StorageError as error:
            cause = error.__cause__
            if isinstance(cause, nats.js.errors.APIError) and cause.err_code in WRONG_LAST_SEQUENCE:
                raise WrongLastSequence from error
            raise

    async def store_together(self, messages: Sequence[tuple[str, bytes, Headers]]) -> int:
        """Store inputs in one commit, all or none; position of the first. Raises RefusedWholeError, StorageError."""
        if not self._takes_batches:
            raise RefusedWholeError
        with translated("storing messages"):
            return await publish_together(self.client, self._acks, messages)

    async def newest(self, what: str, subject: str) -> Stored | None:
        """The newest message on a subject (wildcards allowed), from the stream's leader."""
        try:
            with translated("reading a message"):
                raw = await self.js.get_last_msg(self.names.stream(what), subject)
        except StorageError as error:
            if isinstance(error.__cause__, nats.js.errors.NotFoundError):
                return None
            raise
        time_ns = round(raw.time.timestamp() * 1e9) if raw.time is not None else 0
        return Stored(raw.subject or subject, raw.seq or 0, raw.headers or {}, raw.data or b"", time_ns)

    async def after(self, what: str, subject: str, position: int, limit: int) -> list[Stored]:
        """Up to `limit` messages (fewer when they are large) on a subject (wildcards allowed) past `position`."""
        with translated("reading messages"):
            messages = await self._reads.after(self.names.stream(what), subject, position, limit)
        return [_stored(message.headers or {}, message.data) for message in messages]

    @asynccontextmanager
    async def pushed(self, what: str, subject: str, position: int) -> AsyncIterator[Push]:
        """Messages on a subject (wildcards allowed) past `position`, as they are stored; see `pushes`."""
        async with AsyncExitStack() as stack:
            with translated("following a stream"):
                push = await stack.enter_async_context(pushed(self.client, self.names.stream(what), subject, position))
            yield push

    async def ready(self) -> str | None:
        """What is wrong, None when a message could be written and is on disk."""
        names = self.names
        # No sortie can be called "~".
        probes = {"inputs": names.inputs("~", "probe"), "events": names.events("~", "probe")}
        try:
            # An empty stream is left so: what was its first message and is gone looks as if it were in the archive.
            used = [what for what in probes if (await self.info(what))["state"]["messages"]]
        except StorageError as error:
            return error.sentence
        try:
            await self.store(names.checkpoint("~", "probe"), b"", {})
            for what in used:  # one stream whose disk was full takes nothing while the others do
                await self._delete(what, await self.store(probes[what], b"", {}))
        except StorageError as error:
            return STORES_NOTHING if isinstance(error.__cause__, nats.errors.TimeoutError) else error.sentence
        return None

    async def _delete(self, what: str, position: int) -> None:
        asked = json.dumps({"seq": position, "no_erase": True}).encode()
        with translated("deleting a message"):
            await self.client.request(
                f"$JS.API.STREAM.MSG.DELETE.{self.names.stream(what)}", asked, timeout=ANSWER_LIMIT_S
            )

    async def close(self) -> None:
        """End the connection."""
        await self.client.close()


def _stored(headers: Mapping[str, str], data: bytes) -> Stored:
    return Stored(headers["Nats-Subject"], int(headers["Nats-Sequence"]), headers, data, 0)


async def _ignore(_error: Exception) -> None:
    await asyncio.sleep(0)
