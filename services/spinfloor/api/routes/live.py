"""The live socket: states about 20 times a second, every event at once."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any, Final, Literal

import msgspec
import orjson
from fastapi import APIRouter, Query, WebSocket, WebSocketDisconnect
from starlette.websockets import WebSocketState

from spinfloor.api.auth import Caller
from spinfloor.api.feed import EventFeed
from spinfloor.api.names import SortieId
from spinfloor.api.services import AsWatch, Services, Use
from spinfloor.core.errors import SpinfloorError
from spinfloor.detect.messages import live_subject, moved_subject, nothing_yet
from spinfloor.ingest.limits import RateLimit
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bus import Subscription
from spinfloor.ports.tokens import Role

router = APIRouter(prefix="/v1", tags=["live"])

SEND_WITHIN_S: Final = 20.0
LOOK_EVERY_S: Final = 1.0
TOO_SLOW: Final = 1013
REVOKED: Final = 1008
BAD_MESSAGE: Final = 1003
NOT_UNDERSTOOD: Final = (
    "Expected a message of type sounded, sound or control; got one that is none: {}; nothing was done."
)


class Sounded(msgspec.Struct, tag_field="type", tag="sounded"):
    """A call was heard in this browser, latency_ms after it was received."""

    sequence: Annotated[int, msgspec.Meta(ge=0, le=2**62)]
    latency_ms: float | None = None


class Sound(msgspec.Struct, tag_field="type", tag="sound"):
    """This browser's sound was armed or disarmed."""

    armed: bool
    volume: float | None = None


class Control(msgspec.Struct, tag_field="type", tag="control"):
    """Take or give up the lead among several screens (a sign for people; it locks nothing)."""

    action: Literal["take", "release"]
    name: str = ""


_Said = Sounded | Sound | Control
_DECODER: Final[msgspec.json.Decoder[_Said]] = msgspec.json.Decoder(_Said)


def decode_said(text: str) -> _Said:
    """What a browser says. Raises msgspec.DecodeError."""
    try:
        return _DECODER.decode(text)
    except RecursionError as exc:
        raise msgspec.DecodeError("nested too deep") from exc


@router.websocket("/sorties/{sortie}/live")
async def live_socket(
    sortie: SortieId,
    socket: WebSocket,
    services: Use,
    caller: AsWatch,
    after: Annotated[int | None, Query(ge=-1, le=2**62)] = None,
) -> None:
    """States (thinned to the newest for a slow reader) and events (none ever left out) of a sortie."""
    await services.ports.sorties.get(sortie)
    services.view.touch(sortie)
    states = await services.ports.bus.subscribe(live_subject(sortie), bound=1)
    await socket.accept()
    watcher = await services.presence.join(sortie)
    try:
        await _Watcher(sortie, socket, services, caller, watcher).run(states, after)
    finally:
        await states.close()
        await services.presence.leave(sortie, watcher)


class _Watcher:
    def __init__(self, sortie: str, socket: WebSocket, services: Services, caller: Caller, number: int) -> None:
        self._sortie = sortie
        self._socket = socket
        self._services = services
        self._caller = caller
        self._name = caller.name
        self._may_control = caller.role is Role.CONTROL
        self._number = number
        self._sending = asyncio.Lock()
        self._since_ns: int | None = None  # steady clock, of the message under way

    async def run(self, states: Subscription, after: int | None) -> None:
        """Until the watcher goes or is too slow to take one message within SEND_WITHIN_S."""
        tasks = [
            asyncio.create_task(self._states(states)),
            asyncio.create_task(self._events(after)),
            asyncio.create_task(self._hear()),
            asyncio.create_task(self._moves()),
            asyncio.create_task(self._slow()),
            asyncio.create_task(self._services.authority.until_revoked(self._caller)),
        ]
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in tasks:
            task.cancel()
        outcomes = await asyncio.gather(*tasks, return_exceptions=True)
        slow = any(isinstance(outcome, TimeoutError) for outcome in outcomes)
        if self._socket.application_state is WebSocketState.CONNECTED and (slow or not _gone(outcomes)):
            over = REVOKED if tasks[-1] in done else BAD_MESSAGE
            await self._socket.close(TOO_SLOW if slow else over)

    async def _send(self, payload: bytes) -> None:
        async with self._sending:
            self._since_ns = self._services.ports.clock.steady_ns()
            await self._socket.send_text(payload.decode())
            self._since_ns = None

    async def _slow(self) -> None:
        """Raises TimeoutError once a message has been under way for SEND_WITHIN_S; looked at now and then, since a
        timer for each message costs more than the message."""
        clock = self._services.ports.clock
        while True:
            await clock.sleep(LOOK_EVERY_S)
            since_ns = self._since_ns
            if since_ns is not None and clock.steady_ns() - since_ns > SEND_WITHIN_S * 1e9:
                raise TimeoutError

    async def _states(self, states: Subscription) -> None:
        first = await self._services.view.message(self._sortie)
        await self._send(first or orjson.dumps({"type": "state", "state": nothing_yet(self._sortie)}))
        thinned = 0
        async for _, payload in states:
            if payload != first:
                await self._send(payload)
            first = None
            self._services.metrics.traffic.thinned += states.dropped - thinned
            thinned = states.dropped

    def _feed(self, after: int | None) -> EventFeed:
        bound = self._services.settings.max_watcher_events
        return EventFeed(self._services.ports, self._sortie, after=after, bound=bound)

    async def _events(self, after: int | None) -> None:
        async for _run, _sequence, message in self._feed(after):
            await self._send(message)

    async def _moves(self) -> None:
        """A replay sought back goes on in another sortie; tell the screen where."""
        moves = await self._services.ports.bus.subscribe(moved_subject(self._sortie), bound=1)
        try:
            async for _, payload in moves:
                await self._send(orjson.dumps({"type": "moved", "sortie": payload.decode()}))
        finally:
            await moves.close()

    async def _hear(self) -> None:
        clock, settings = self._services.ports.clock, self._services.settings
        pace = RateLimit(clock, per_second=settings.messages_per_s, burst=settings.message_burst)
        while True:
            message = await self._socket.receive()
            if message["type"] == "websocket.disconnect":
                raise WebSocketDisconnect
            while (wait_s := pace.wait_s("", 1.0)) > 0.0:
                await clock.sleep(wait_s)  # it is read no further meanwhile
            text = message.get("text") or ""
            try:
                said = decode_said(text)
            except msgspec.DecodeError as exc:
                await self._send(orjson.dumps({"type": "error", "detail": NOT_UNDERSTOOD.format(exc)}))
                continue
            await self._heard(said)

    async def _heard(self, said: Sounded | Sound | Control) -> None:
        presence = self._services.presence
        match said:
            case Sounded(sequence=sequence, latency_ms=latency_ms):
                await presence.sounded(self._sortie, sequence)
                await self._audit("sounded", {"sequence": sequence, "latency_ms": latency_ms})
            case Sound(armed=armed, volume=volume):
                await presence.armed(self._sortie, self._number, armed)
                await self._audit("sound", {"armed": armed, "volume": volume})
            case Control(action="take") if not self._may_control:
                detail = "Expected the role control to take control; got a token that may only watch; nothing was done."
                await self._send(orjson.dumps({"type": "error", "detail": detail}))
            case Control(action=action, name=name):
                holder = (name[:80] or self._name) if action == "take" else None
                if await presence.control(self._sortie, self._number, holder):
                    await self._audit("control", {"action": action, "name": name[:80]})

    async def _audit(self, action: str, data: dict[str, Any]) -> None:
        now = self._services.ports.clock.wall_ns()
        record = AuditRecord(now, self._name, action, self._sortie, {**data, "watcher": self._number})
        try:
            await self._services.ports.audit.add(record)
        except SpinfloorError as error:
            await self._send(orjson.dumps({"type": "error", "detail": error.sentence}))


def _gone(outcomes: list[Any]) -> bool:
    return any(isinstance(outcome, WebSocketDisconnect | RuntimeError) for outcome in outcomes)
