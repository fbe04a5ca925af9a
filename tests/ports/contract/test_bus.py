"""Bus: to whoever listens now."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from tests.ports.contract.sides import NUMBERS, Side


async def take(messages: AsyncIterator[tuple[str, bytes]], n: int) -> list[tuple[str, bytes]]:
    async def some() -> list[tuple[str, bytes]]:
        found = []
        async for message in messages:
            found.append(message)
            if len(found) == n:
                break
        return found

    return await asyncio.wait_for(some(), 10)


async def test_messages_arrive_in_order_at_every_listener(side: Side) -> None:
    name = f"b{next(NUMBERS)}"
    exact = await side.ports.bus.subscribe(f"live.{name}")
    wide = await side.ports.bus.subscribe("live.>")
    assert side.ports.bus.listened(f"live.{name}")
    for i in range(20):
        await side.ports.bus.publish(f"live.{name}", b"%d" % i)
        await side.ports.bus.publish(f"events.{name}", b"not for them")
    expected = [(f"live.{name}", b"%d" % i) for i in range(20)]
    assert await take(aiter(exact), 20) == expected
    assert [m for m in await take(aiter(wide), 20) if m[0] == f"live.{name}"] == expected
    await exact.close()
    await wide.close()


async def test_the_newest_is_retained_per_subject(side: Side) -> None:
    name = f"b{next(NUMBERS)}"
    assert await side.ports.bus.latest(f"live.{name}") is None
    listener = await side.ports.bus.subscribe(f"live.{name}")
    for payload in (b"old", b"new"):
        await side.ports.bus.publish(f"live.{name}", payload)
    await take(aiter(listener), 2)
    await listener.close()
    assert await side.ports.bus.latest(f"live.{name}") == b"new"
    assert await side.ports.bus.latest(f"events.{name}") is None


async def test_a_slow_listener_loses_its_oldest_and_counts(side: Side) -> None:
    name = f"b{next(NUMBERS)}"
    slow = await side.ports.bus.subscribe(f"live.{name}", bound=4)
    witness = await side.ports.bus.subscribe(f"live.{name}")
    for i in range(10):
        await side.ports.bus.publish(f"live.{name}", b"%d" % i)
    await take(aiter(witness), 10)
    assert [payload for _, payload in await take(aiter(slow), 4)] == [b"6", b"7", b"8", b"9"]
    assert slow.dropped == 6
    await slow.close()
    await witness.close()


async def test_closing_ends_the_iterator(side: Side) -> None:
    listener = await side.ports.bus.subscribe(f"live.b{next(NUMBERS)}")
    waiting = asyncio.create_task(take(aiter(listener), 1))
    await asyncio.sleep(0)
    await listener.close()
    assert await asyncio.wait_for(waiting, 5) == []
