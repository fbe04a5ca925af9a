"""Frames in (HTTP and WebSocket) and out."""

from __future__ import annotations

import asyncio
import functools
from collections import deque
from collections.abc import AsyncIterator, Callable, MutableMapping
from typing import Annotated, Any, Final

import msgspec
import orjson
from fastapi import APIRouter, Query, Request, WebSocket, WebSocketDisconnect
from pydantic import Field
from starlette.responses import Response

from spinfloor.adapters.exports import Format, encode_frames, stream_frames
from spinfloor.adapters.table_columns import ARROW, PARQUET, columns_of
from spinfloor.api.bodies import media_type
from spinfloor.api.names import SortieId
from spinfloor.api.negotiation import wanted_format
from spinfloor.api.parameters import EMPTY_IS_NONE, From, To
from spinfloor.api.problems import ProblemError, record_of
from spinfloor.api.responses import Json, streamed
from spinfloor.api.services import AsSource, AsWatch, Services, Use
from spinfloor.archive.decimate import decimated, once
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.batches import SOURCE_PATTERN, Batch, Wire, read_json, read_msgpack
from spinfloor.ingest.rows import NO_TIME_NS
from spinfloor.ingest.service import Ack
from spinfloor.ports.errors import OverloadedError, StorageError
from spinfloor.ports.inputs import behind_a_failed_one

router = APIRouter(prefix="/v1", tags=["frames"])

MSGPACK_TYPES: Final = ("application/msgpack", "application/x-msgpack", "application/vnd.msgpack")
TABLE_TYPES: Final = (PARQUET, ARROW)
ALSO_PARQUET: Final = ("application/x-parquet", "application/parquet")
BIG_BODY: Final = 256 << 10
REVOKED: Final = 1008
TRY_AGAIN_LATER: Final = 1013
LATER: Final = (429, 503)  # a batch that is answered so is good, and can be sent again
WHOLE_FRAMES: Final = 2_000_000  # some 300 MB in memory; more is asked for in pieces or decimated


def read_body(kind: str, body: bytes, source: str | None, sequence: int | None) -> Wire:
    """A batch as it came, by its media type. Raises ProblemError 415, BatchError, TableError."""
    kind = PARQUET if kind in ALSO_PARQUET else kind
    if kind in MSGPACK_TYPES:
        return read_msgpack(body)
    if kind in TABLE_TYPES:
        if source is None or sequence is None:
            raise ProblemError(
                422,
                "no-identity",
                expected="?source=...&sequence=... with a table, which has no place for them",
                got="none",
                now="nothing was taken",
            )
        return Wire(source, sequence, columns_of(kind, body, missing_time=NO_TIME_NS))
    if kind in ("application/json", ""):
        return read_json(body)
    raise ProblemError(
        415,
        "unknown-media-type",
        expected="application/json, " + ", ".join((MSGPACK_TYPES[0], *TABLE_TYPES)),
        got=kind,
        now="nothing was taken",
    )


@router.post("/sorties/{sortie}/frames")
async def post_frames(
    sortie: SortieId,
    request: Request,
    services: Use,
    _caller: AsSource,
    source: Annotated[str | None, Query(pattern=SOURCE_PATTERN)] = None,
    sequence: Annotated[int | None, Query(ge=0, le=2**62)] = None,
) -> Json:
    """A batch in JSON, MessagePack, Parquet or Arrow. The answer means that it is on disk. Columns have the contract's
    names, or the source's own when the sortie's plan has a channel map for them."""
    body = await request.body()
    wait_s = services.rate.wait_s(sortie, len(body))
    if wait_s > 0.0:
        raise _too_fast(services, wait_s)
    kind = media_type(request)
    batch = await _decoded(services, sortie, body, lambda: read_body(kind, body, source, sequence))
    with services.metrics.ack_seconds.time():
        ack = await services.ingest.take(sortie, batch)
    services.view.touch(sortie)
    return Json(ack.as_record())


async def _decoded(services: Services, sortie: str, body: bytes, read: Callable[[], Wire]) -> Batch:
    """A small body at once, which takes less time than a thread; a big one beside the calls of other sorties."""
    if len(body) < BIG_BODY:
        return await services.own_names.batch(sortie, read())
    return await services.own_names.batch(sortie, await asyncio.to_thread(read), aside=True)


def _too_fast(services: Services, wait_s: float) -> ProblemError:
    return ProblemError(
        429,
        "too-fast",
        expected=f"at most {services.settings.bytes_per_s:.0f} bytes a second into one sortie",
        got="more",
        now="this batch was not taken; keep it and send it again",
        retry_after_s=max(1, round(wait_s)),
    )


@router.websocket("/sorties/{sortie}/frames")
async def frames_socket(sortie: SortieId, socket: WebSocket, services: Use, caller: AsSource) -> None:
    """Batches as text (JSON) or binary (MessagePack); an answer per batch, in order, in the same form.

    A bad batch is answered with `{"error": problem}` and the socket stays open. One that can't be stored now (429, 503) is
    answered so too, and then the socket is closed (1013, try again later): what was under way behind it is not taken, so
    that a source which connects again and goes on from there changes no order.
    """
    await services.ports.sorties.get(sortie)
    await socket.accept()
    taking = asyncio.create_task(_FrameSocket(sortie, socket, services).run())
    revoked = asyncio.create_task(services.authority.until_revoked(caller))
    try:
        await asyncio.wait({taking, revoked}, return_when=asyncio.FIRST_COMPLETED)
        if not taking.done():
            await socket.close(REVOKED)
        await taking
    finally:
        revoked.cancel()
        taking.cancel()
        await asyncio.gather(revoked, taking, return_exceptions=True)


class _FrameSocket:
    """Takes batches as fast as the disk does, `max_unanswered` at most without an answer; then the source's own socket fills up."""

    def __init__(self, sortie: str, socket: WebSocket, services: Services) -> None:
        self._sortie = sortie
        self._socket = socket
        self._services = services
        self._answers: deque[tuple[asyncio.Task[Ack] | SpinfloorError, bool]] = deque()
        self._room = asyncio.Semaphore(services.settings.max_unanswered)
        self._more = asyncio.Event()
        self._over = False
        self._failed = False  # a batch could not be stored; those behind it are left
        self._open = 0  # batches without an answer

    async def run(self) -> None:
        """Until the source goes."""
        answering = asyncio.create_task(self._answer())
        try:
            while not self._failed:
                message = await self._socket.receive()
                if message["type"] == "websocket.disconnect":
                    break
                await self._take(message)
        finally:
            self._over = True
            self._more.set()
            try:
                await asyncio.gather(answering, return_exceptions=True)
            finally:
                self._services.metrics.traffic.unanswered -= self._open

    async def _take(self, message: MutableMapping[str, Any]) -> None:
        text = message.get("text")
        body = text.encode() if isinstance(text, str) else message.get("bytes")
        assert isinstance(body, bytes)
        await self._room.acquire()
        self._open += 1
        self._services.metrics.traffic.unanswered += 1
        while (wait_s := self._services.rate.wait_s(self._sortie, len(body))) > 0.0:
            await self._services.ports.clock.sleep(wait_s)
        try:
            read = functools.partial(read_json if isinstance(text, str) else read_msgpack, body)
            batch = await _decoded(self._services, self._sortie, body, read)
            answer: asyncio.Task[Ack] | SpinfloorError = asyncio.create_task(self._ack(batch))
        except SpinfloorError as error:
            self._failed = self._failed or record_of(error)["status"] in LATER
            answer = error
        self._answers.append((answer, isinstance(text, str)))
        self._more.set()

    def _release(self) -> None:
        self._room.release()
        self._open -= 1
        self._services.metrics.traffic.unanswered -= 1

    async def _ack(self, batch: Batch) -> Ack:
        clock = self._services.ports.clock
        begun_ns = clock.steady_ns()
        if self._failed:
            raise behind_a_failed_one()
        try:
            ack = await self._services.ingest.take(self._sortie, batch)
        except (StorageError, OverloadedError):
            self._failed = True
            raise
        finally:
            self._services.metrics.ack_seconds.observe((clock.steady_ns() - begun_ns) * 1e-9)
        self._services.view.touch(self._sortie)
        return ack

    async def _answer(self) -> None:
        try:
            while not (self._over and not self._answers):
                await self._more.wait()
                self._more.clear()
                while self._answers:
                    answer, as_text = self._answers.popleft()
                    record = await _outcome(answer)
                    self._release()
                    await self._send(record, as_text)
                    if record.get("error", {}).get("status") in LATER:
                        await self._leave()
                        return
        except (WebSocketDisconnect, RuntimeError):
            self._over = True  # the source has gone; it will ask again for what was not answered

    async def _leave(self) -> None:
        """The source goes on from the batch just answered, on a new socket; what is under way behind it has failed as well."""
        self._failed = True
        await self._socket.close(TRY_AGAIN_LATER)
        under_way = [answer for answer, _ in self._answers if isinstance(answer, asyncio.Task)]
        self._answers.clear()
        await asyncio.gather(*under_way, return_exceptions=True)

    async def _send(self, record: dict[str, Any], as_text: bool) -> None:
        if as_text:
            await self._socket.send_text(orjson.dumps(record).decode())
        else:
            await self._socket.send_bytes(msgspec.msgpack.encode(record))


async def _outcome(answer: asyncio.Task[Ack] | SpinfloorError) -> dict[str, Any]:
    if isinstance(answer, SpinfloorError):
        return {"error": record_of(answer)}
    try:
        return (await answer).as_record()
    except SpinfloorError as error:
        return {"error": record_of(error)}


@router.get("/sorties/{sortie}/frames")
async def get_frames(
    sortie: SortieId,
    request: Request,
    services: Use,
    _caller: AsWatch,
    from_ns: From = None,
    to_ns: To = None,
    max_points: Annotated[Annotated[int, Field(ge=2, le=WHOLE_FRAMES)] | None, EMPTY_IS_NONE, Query()] = None,
    format: Format | None = None,
) -> Response:
    """Frames with from <= time_ns < to; with max_points each once, and the smallest and largest of each stretch of time.

    NDJSON, CSV, Parquet and Arrow are sent as they are read, whatever the sortie's length.
    """
    await services.ports.sorties.get(sortie)
    form = wanted_format(request, format)
    extent = await services.ports.frames.extent(sortie)
    first = max(extent.first_ns, from_ns) if from_ns is not None else extent.first_ns
    last = min(extent.last_ns, to_ns - 1) if to_ns is not None else extent.last_ns
    thinned = max_points is not None and extent.frames > max_points
    if form is not Format.JSON and not thinned:
        mask = await services.ports.frames.channels(sortie, from_ns=from_ns, to_ns=to_ns)
        pages = services.ports.frames.columns(sortie, mask, from_ns=from_ns, to_ns=to_ns)
        return await streamed(stream_frames(pages, mask, form), form)
    blocks = services.ports.frames.blocks(sortie, from_ns=from_ns, to_ns=to_ns)
    if max_points is not None:
        blocks = once(blocks)  # it is to be drawn
    if max_points is not None and thinned:
        block = await decimated(blocks, first_ns=first, last_ns=max(last, first), max_points=max_points)
    else:
        block = await _whole([b async for b in _bounded(blocks)])
    body = await asyncio.to_thread(encode_frames, block, form)
    return Response(body, media_type=form.media_type, headers={"X-Frames": str(len(block))})


async def _bounded(blocks: AsyncIterator[FrameBlock]) -> AsyncIterator[FrameBlock]:
    count = 0
    async for block in blocks:
        count += len(block)
        if count > WHOLE_FRAMES:
            raise ProblemError(
                413,
                "too-many-frames",
                expected=f"a stretch of at most {WHOLE_FRAMES} frames at once as JSON",
                got="a longer one",
                now="nothing was sent; ask for a shorter stretch (from, to), for max_points, or for another format than JSON",
            )
        yield block


async def _whole(blocks: list[FrameBlock]) -> FrameBlock:
    return await asyncio.to_thread(FrameBlock.joined, blocks)
