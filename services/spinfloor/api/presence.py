"""What the screens' side knows of a sortie: who watches, who holds control, which calls have not been heard."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any, Final

import orjson

from spinfloor.detect.messages import presence_subject, split_event_message
from spinfloor.ports.bus import Bus, Subscription
from spinfloor.ports.clock import Clock

SOUND_WITHIN_S: Final = 2.0
REMEMBER_S: Final = 60.0
REFRESH_S: Final = 0.5
SPOKEN_ALWAYS: Final = frozenset({"caution", "recover", "chute", "abandon"})


@dataclass(slots=True)
class _Sortie:
    watchers: int = 0
    armed: dict[int, bool] = field(default_factory=dict)
    holder: str | None = None
    holder_watcher: int | None = None
    waiting: OrderedDict[int, int] = field(default_factory=OrderedDict)  # call sequence -> steady ns when issued
    published: bytes = b""


class Presence:
    """One per API process; its picture of each sortie is on the bus, retained, and part of every state."""

    def __init__(self, bus: Bus, clock: Clock) -> None:
        self._bus = bus
        self._clock = clock
        self._sorties: dict[str, _Sortie] = {}
        self._serial = 0

    def _of(self, sortie: str) -> _Sortie:
        return self._sorties.setdefault(sortie, _Sortie())

    @property
    def watchers(self) -> int:
        """Live sockets open, all sorties together."""
        return sum(s.watchers for s in self._sorties.values())

    async def join(self, sortie: str) -> int:
        """A watcher came; returns its number."""
        self._serial += 1
        self._of(sortie).watchers += 1
        await self._tell(sortie)
        return self._serial

    async def leave(self, sortie: str, watcher: int) -> None:
        """A watcher went; control it held is free again."""
        entry = self._of(sortie)
        entry.watchers -= 1
        entry.armed.pop(watcher, None)
        if entry.holder_watcher == watcher:
            entry.holder = entry.holder_watcher = None
        await self._tell(sortie)

    async def armed(self, sortie: str, watcher: int, armed: bool) -> None:
        """A browser armed or disarmed its sound."""
        self._of(sortie).armed[watcher] = armed
        await self._tell(sortie)

    async def sounded(self, sortie: str, sequence: int) -> None:
        """A call was heard somewhere."""
        if self._of(sortie).waiting.pop(sequence, None) is not None:
            await self._tell(sortie)

    async def control(self, sortie: str, watcher: int, name: str | None) -> bool:
        """Take control (a name; taking it from another is allowed and seen by all) or release it (None)."""
        entry = self._of(sortie)
        if name is None and entry.holder_watcher != watcher:
            return False
        entry.holder, entry.holder_watcher = name, None if name is None else watcher
        await self._tell(sortie)
        return True

    def picture(self, sortie: str) -> dict[str, Any]:
        """The part of the state that comes from here."""
        entry = self._of(sortie)
        now = self._clock.steady_ns()
        for sequence in [s for s, at in entry.waiting.items() if now - at > REMEMBER_S * 1e9]:
            del entry.waiting[sequence]
        late = [s for s, at in entry.waiting.items() if now - at > SOUND_WITHIN_S * 1e9]
        return {
            "control": {"holder": entry.holder, "watchers": entry.watchers},
            "sound_armed": sum(entry.armed.values()),
            "calls_not_sounded": late,
        }

    async def _tell(self, sortie: str) -> None:
        entry = self._of(sortie)
        payload = orjson.dumps(self.picture(sortie))
        if entry.published != payload:
            entry.published = payload
            await self._bus.publish(presence_subject(sortie), payload)
        if not entry.watchers and not entry.waiting:
            self._sorties.pop(sortie, None)  # nothing left to remember

    async def run(self) -> None:
        """Note every call as it is issued, and refresh the pictures as calls come to be overdue."""
        calls = await self._bus.subscribe("events.>", bound=4096)
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._note_calls(calls))
                group.create_task(self._refresh())
        finally:
            await calls.close()

    async def _note_calls(self, calls: Subscription) -> None:
        async for subject, payload in calls:
            if b'"kind":"call"' not in payload:
                continue
            _, sequence, body = split_event_message(payload)
            if orjson.loads(body)["event"]["data"].get("call") in SPOKEN_ALWAYS:
                self._of(subject.partition(".")[2]).waiting[sequence] = self._clock.steady_ns()

    async def _refresh(self) -> None:
        while True:
            await self._clock.sleep(REFRESH_S)
            for sortie, entry in list(self._sorties.items()):
                if entry.waiting or entry.watchers:
                    await self._tell(sortie)
