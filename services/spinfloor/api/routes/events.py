"""Events out: a page in any format, or a stream that goes on."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator
from typing import Annotated, Any, Final

import orjson
from fastapi import APIRouter, Query, Request
from pydantic import BeforeValidator, Field
from starlette.responses import Response, StreamingResponse

from spinfloor.adapters.exports import EventStream, Format, encode_events
from spinfloor.api.feed import EventFeed
from spinfloor.api.names import SortieId
from spinfloor.api.negotiation import EVENT_STREAM, wanted_format_or_stream
from spinfloor.api.parameters import EMPTY_IS_NONE
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json, streamed
from spinfloor.api.routes.runs import unknown_run
from spinfloor.api.services import AsWatch, Services, Use
from spinfloor.core.events import Event, Kind

router = APIRouter(prefix="/v1", tags=["events"])

KEEP_ALIVE_S: Final = 10.0
PAGE_AT_MOST: Final = 100_000
PAGE: Final = 2_000  # read and written at a time
_SEQUENCE: Final = re.compile("[0-9]{1,18}")


def _each(kinds: Any) -> Any:
    if not isinstance(kinds, list) or not all(isinstance(kind, str) for kind in kinds):
        return kinds
    return [name.strip() for kind in kinds for name in kind.split(",") if name.strip()] or None


Kinds = Annotated[
    list[Kind] | None,
    BeforeValidator(_each),
    Query(description="only these kinds; given more than once, or with commas between them"),
]


@router.get("/sorties/{sortie}/events")
async def get_events(
    sortie: SortieId,
    request: Request,
    services: Use,
    _caller: AsWatch,
    after: Annotated[Annotated[int, Field(ge=-1, le=2**62)] | None, EMPTY_IS_NONE, Query()] = None,
    kind: Kinds = None,
    run: Annotated[str | None, Query(max_length=80)] = None,
    limit: Annotated[int, Query(ge=1, le=PAGE_AT_MOST)] = PAGE_AT_MOST,
    format: Format | None = None,
) -> Response:
    """Events with sequence > after, in order. With Accept: text/event-stream it goes on (Last-Event-ID resumes)."""
    await services.ports.sorties.get(sortie)
    kinds = None if kind is None else {k.value for k in kind}
    form = wanted_format_or_stream(request, format)
    after = -1 if after is None else after
    run = await _known(services, sortie, run) if run else None
    if form is None:
        return await _stream(request, services, sortie, run, after, kinds)
    await services.view.settle(sortie)
    run = run or await services.ports.events.current_run(sortie)
    events = await services.ports.events.read(sortie, run=run, after=after, kinds=kinds, limit=min(limit, PAGE))
    if len(events) == PAGE < limit and run is not None:
        return await streamed(_pieces(services, sortie, run, kinds, events, limit, form), form)
    records = [event.as_record() for event in events]
    if form is Format.JSON:
        return Json({"run": run, "events": records, "after": events[-1].sequence if events else after})
    return Response(await asyncio.to_thread(encode_events, records, form), media_type=form.media_type)


async def _known(services: Services, sortie: str, run: str) -> str:
    runs = await services.ports.events.runs(sortie)
    if run not in runs:
        raise unknown_run(runs, run, now="nothing was sent")
    return run


async def _pages(
    services: Services, sortie: str, run: str, kinds: set[str] | None, events: list[Event], limit: int
) -> AsyncIterator[list[dict[str, Any]]]:
    """`events`, the first page, and those behind it."""
    sent = 0
    while events:
        yield [dict(event.as_record()) for event in events]
        sent += len(events)
        page, after = min(limit - sent, PAGE), events[-1].sequence
        if len(events) < PAGE or page == 0:
            return
        events = await services.ports.events.read(sortie, run=run, after=after, kinds=kinds, limit=page)


async def _pieces(
    services: Services, sortie: str, run: str, kinds: set[str] | None, first: list[Event], limit: int, form: Format
) -> AsyncIterator[bytes]:
    """More events than a page has: each page written as it is read."""
    stream: EventStream = EventStream(run, form)
    async for records in _pages(services, sortie, run, kinds, first, limit):
        yield await asyncio.to_thread(stream.add, records)
    yield await asyncio.to_thread(stream.end)


async def _stream(
    request: Request, services: Services, sortie: str, run: str | None, after: int, kinds: set[str] | None
) -> Response:
    services.view.touch(sortie)
    last = request.headers.get("last-event-id")
    if last:
        run, after = _position(last)
    feed = EventFeed(services.ports, sortie, run=run, after=after, bound=services.settings.max_watcher_events)
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(_lines(feed, kinds), media_type=EVENT_STREAM, headers=headers)


def _position(last: str) -> tuple[str | None, int]:
    """`run/sequence` as we send it; a bare sequence counts for the current run."""
    run, _, sequence = last.rpartition("/")
    if _SEQUENCE.fullmatch(sequence):
        return run or None, int(sequence)
    raise ProblemError(
        422,
        "bad-last-event-id",
        expected="Last-Event-ID as sent with an event: run/sequence",
        got=repr(last[:80]),
        now="nothing was sent",
    )


async def _lines(feed: EventFeed, kinds: set[str] | None) -> AsyncIterator[bytes]:
    yield b": spinfloor advises; the crew, the test conductor and the approved plan decide\n\n"
    stream = aiter(feed)
    waiting = asyncio.ensure_future(anext(stream))
    try:
        while True:
            done, _ = await asyncio.wait({waiting}, timeout=KEEP_ALIVE_S)
            if not done:
                yield b": waiting\n\n"
                continue
            run, sequence, message = waiting.result()
            waiting = asyncio.ensure_future(anext(stream))
            event = orjson.loads(message)["event"]
            if kinds is None or event["kind"] in kinds:
                yield (
                    f"id: {run}/{sequence}\nevent: {event['kind']}\n".encode()
                    + b"data: "
                    + orjson.dumps(event)
                    + b"\n\n"
                )
    finally:
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)
        await stream.aclose()
