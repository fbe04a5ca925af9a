"""Saved detectors in a JetStream stream that keeps the newest message of each subject."""

from __future__ import annotations

import json
import struct

from spinfloor.adapters.nats.connection import NatsLink, Stored, WrongLastSequence
from spinfloor.adapters.nats.fences import TRIES, Fences, contended
from spinfloor.adapters.nats.subjects import text_of, token
from spinfloor.ports.checkpoints import Checkpoint

_LENGTH = struct.Struct("<I")


class NatsCheckpoints:
    """CheckpointStore. Body: uint32 length of the memo, memo, data; offset and next_sequence travel as a header."""

    def __init__(self, link: NatsLink, fences: Fences) -> None:
        self._link = link
        self._fences = fences

    async def save(self, checkpoint: Checkpoint, *, fence: int) -> None:
        """See CheckpointStore."""
        subject = self._link.names.checkpoint(checkpoint.sortie, token(checkpoint.run))
        place = json.dumps({"offset": checkpoint.offset, "next": checkpoint.next_sequence})
        body = _LENGTH.pack(len(checkpoint.memo)) + checkpoint.memo + checkpoint.data
        for _ in range(TRIES):
            await self._fences.check(checkpoint.sortie, fence)
            there = await self._link.newest("checkpoints", subject)
            if there is not None and _checkpoint(checkpoint.sortie, there).offset > checkpoint.offset:
                return
            last = 0 if there is None else there.position
            try:
                await self._link.publish(subject, body, headers={"Spinfloor-Place": place}, last=last)
            except WrongLastSequence:
                continue
            return
        raise contended(checkpoint.sortie)

    async def newest(self, sortie: str, run: str | None = None) -> Checkpoint | None:
        """See CheckpointStore."""
        subject = self._link.names.checkpoint(sortie, "*" if run is None else token(run))
        found = await self._link.after("checkpoints", subject, 0, 256)
        # Of equal offsets the one written last: `after` gives them in the order of writing, `max` the first it meets.
        return max((_checkpoint(sortie, one) for one in reversed(found)), key=lambda c: c.offset, default=None)


def _checkpoint(sortie: str, one: Stored) -> Checkpoint:
    place = json.loads(one.headers["Spinfloor-Place"])
    (length,) = _LENGTH.unpack_from(one.data)
    start = _LENGTH.size + length
    run = text_of(one.subject.rpartition(".")[2])
    return Checkpoint(sortie, run, place["offset"], place["next"], one.data[start:], one.data[_LENGTH.size : start])
