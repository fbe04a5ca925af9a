"""Batches on their way: unchanged until acknowledged, tried again, bounded."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from spinfloor.adapters.system_clock import SystemClock
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.links.address import LinkAddressError, parse_address
from spinfloor.ingest.links.inbox import Inbox, Received
from spinfloor.ingest.links.outbox import Outbox
from spinfloor.ingest.links.sockets import Pin
from spinfloor.ingest.rows import RowProblem
from spinfloor.ingest.service import Ack
from spinfloor.ports.errors import OverloadedError, UnknownSortieError


def _frame(k: int) -> FrameBlock:
    return FrameBlock(np.array([k], dtype=np.int64), np.full((1, CHANNEL_COUNT), float(k)))


class Service:
    """Takes batches, except the first `away` times."""

    def __init__(self, away: int = 0) -> None:
        self.away = away
        self.offered: list[tuple[int, list[int]]] = []
        self.taken: dict[int, list[int]] = {}
        self.twice = asyncio.Event()

    async def __call__(self, sequence: int, block: FrameBlock) -> Mapping[str, Any]:
        self.offered.append((sequence, block.time_ns.tolist()))
        if len(self.offered) == 2:
            self.twice.set()
        if self.away:
            self.away -= 1
            raise OverloadedError(expected="room", got="a full queue", now="nothing was taken")
        self.taken[sequence] = block.time_ns.tolist()
        return {"accepted": len(block), "rejected": []}


async def test_every_rejected_row_is_counted_although_the_list_of_them_is_cut() -> None:
    async def deliver(_sequence: int, block: FrameBlock) -> Mapping[str, Any]:
        problems = tuple(RowProblem(row, "no value", kept=True) for row in range(len(block)))
        return Ack(0, 0, 0, problems, 0).as_record()

    box = Outbox(deliver, SystemClock(), list[str]().append)
    running = asyncio.create_task(box.run())
    box.put(FrameBlock(np.arange(1500, dtype=np.int64), np.full((1500, CHANNEL_COUNT), np.nan)))
    await asyncio.wait_for(box.empty(), 10)
    running.cancel()
    assert box.rejected == 1500


async def test_a_batch_is_offered_unchanged_until_it_is_taken() -> None:
    service, told = Service(away=3), list[str]()
    box = Outbox(service, SystemClock(), told.append, first=7)
    running = asyncio.create_task(box.run())
    box.put(_frame(1))
    await asyncio.wait_for(service.twice.wait(), 10)
    box.put(_frame(2))
    await asyncio.wait_for(box.empty(), 10)
    running.cancel()
    assert [offer for offer in service.offered if offer[0] == 7] == [(7, [1])] * 4
    assert service.taken == {7: [1], 8: [2]}
    assert box.acked == 2
    assert "Trying again" in told[0]
    assert "takes frames again" in told[-1]


async def test_beyond_the_bound_the_oldest_go_and_are_counted() -> None:
    service, told = Service(), list[str]()
    box = Outbox(service, SystemClock(), told.append, held=100)
    for k in range(250):
        box.put(_frame(k))
    running = asyncio.create_task(box.run())
    await asyncio.wait_for(box.empty(), 10)
    running.cancel()
    assert [k for rows in service.taken.values() for k in rows] == list(range(150, 250))
    assert box.dropped == 150
    assert len(told) == 1


async def test_a_refusal_for_good_ends_the_link() -> None:
    async def refuse(sequence: int, block: FrameBlock) -> Mapping[str, Any]:
        raise UnknownSortieError(expected="a sortie", got=f"none for batch {sequence}", now="nothing was taken")

    box = Outbox(refuse, SystemClock(), lambda _: None)
    box.put(_frame(1))
    with pytest.raises(UnknownSortieError):
        await asyncio.wait_for(box.run(), 10)


async def test_inbox_drops_the_oldest_and_counts() -> None:
    inbox = Inbox(bound=3)
    for k in range(5):
        inbox.put(Received(bytes([k]), 0, whole=True))
    assert [item.data for item in await inbox.take_all()] == [b"\x02", b"\x03", b"\x04"]
    assert inbox.dropped == 2


def test_pin_takes_one_sender_until_it_has_been_silent() -> None:
    pin = Pin(None, lambda _: None)
    a, b = ("192.0.2.1", 5), ("192.0.2.2", 5)
    assert pin.takes(a, 0) == (True, True)
    assert pin.takes(b, 4_000_000_000) == (False, False)
    assert pin.takes(a, 4_500_000_000) == (True, False)
    assert pin.takes(b, 9_600_000_000) == (True, True)
    named = Pin("192.0.2.1", lambda _: None)
    assert named.takes(b, 0) == (False, False)
    assert named.takes(a, 0) == (True, True)
    assert (pin.foreign, named.foreign) == (1, 1)


@pytest.mark.parametrize(
    ("address", "sender"),
    [
        ("udp://0.0.0.0:5000", None),
        ("udp://192.0.2.1:5000", None),
        ("serial:///dev/x", None),
        ("udp://127.0.0.1", None),
        ("udp://127.0.0.1:99999", None),
        ("udp://127.0.0.1:1/path", None),
        ("udp://0.0.0.0:5000", "not an address"),
        ("nonsense", None),
    ],
)
def test_addresses_refused(address: str, sender: str | None) -> None:
    with pytest.raises(LinkAddressError):
        parse_address(address, sender)


def test_addresses_taken() -> None:
    assert str(parse_address("udp://127.0.0.1:5501")) == "udp://127.0.0.1:5501"
    assert str(parse_address("tcp://[::1]:0")) == "tcp://[::1]:0"
    assert parse_address("udp://0.0.0.0:1", "192.0.2.1").sender == "192.0.2.1"
