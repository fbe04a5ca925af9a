"""Links with real peers, real sockets and the real store: what was sent is on disk."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tests.ingest.links.peers import MAP, MavSender, fly, fly_over_tcp
from tests.waiting import until

from spinfloor.adapters.links import LabelledValues, MavlinkLink
from spinfloor.adapters.sqlite.store import open_store
from spinfloor.adapters.system_clock import SystemClock
from spinfloor.core.channels import PRESSURE_ALTITUDE, ROLL_RATE
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap
from spinfloor.core.plan.defaults import default_plan
from spinfloor.core.plan.load import plan_to_data
from spinfloor.ingest.batches import make_batch
from spinfloor.ingest.links.address import parse_address
from spinfloor.ingest.links.listener import Decoder, Link, Listener
from spinfloor.ingest.links.outbox import Outbox
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieKind, SortieRecord


@pytest.fixture
async def ports(tmp_path: Path) -> AsyncIterator[Ports]:
    """A real SQLite store with one sortie."""
    store = open_store(tmp_path / "store")
    await store.sorties.create(SortieRecord("one", SortieKind.FLIGHT, 0, "invented", plan_to_data(default_plan())))
    yield store
    await store.close()


class Heard(list[str]):
    """What the listener told."""

    def __call__(self, sentence: str) -> None:
        self.append(sentence)


@asynccontextmanager
async def _running(ports: Ports, address: str, decoder: Decoder, told: Heard) -> AsyncIterator[Listener]:
    clock = SystemClock()
    ingest = Ingest(ports.inputs, clock)

    async def deliver(sequence: int, block: FrameBlock) -> Mapping[str, Any]:
        return (await ingest.take("one", make_batch("link", sequence, block.to_columns()))).as_record()

    outbox = Outbox(deliver, clock, told)
    listener = Listener(Link(parse_address(address), decoder, outbox, clock, told))
    running = asyncio.create_task(listener.run())
    try:
        await asyncio.wait_for(asyncio.shield(listener.port), 10)
        yield listener
    finally:
        running.cancel()
        with pytest.raises(asyncio.CancelledError):
            await running


async def _stored(ports: Ports, count: int) -> FrameBlock:
    """Frames on disk, once there are `count`."""

    async def enough() -> bool:
        return (await ports.frames.extent("one")).frames >= count

    await until(enough, what=f"{count} frames on disk")
    blocks = [b async for b in ports.frames.blocks("one")]
    return FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))


@pytest.mark.parametrize("protocol", ["UDP", "TCP"])
async def test_flight_dynamics_library_over_its_socket(ports: Ports, tmp_path: Path, protocol: str) -> None:
    told = Heard()
    decoder = LabelledValues(ChannelMap.model_validate(MAP))
    async with _running(ports, f"{protocol.lower()}://127.0.0.1:0", decoder, told) as listener:
        port = listener.port.result()
        flying = (fly, tmp_path, "UDP", port, 3.0) if protocol == "UDP" else (fly_over_tcp, tmp_path, port, 3.0)
        sent = await asyncio.to_thread(*flying)
        block = await _stored(ports, 60)
    assert decoder.counts.damaged == {}
    steps = np.diff(block.time_ns)
    assert_allclose(steps, 50_000_000, atol=9_000_000)  # 20 Hz, as a multiple of the library's own 1/120 s step
    times = (block.time_ns - block.time_ns[0]) * 1e-9
    truth = np.array(sent)
    assert_allclose(block.values[5:, ROLL_RATE], np.interp(times[5:], truth[:, 0], truth[:, 1]), atol=0.02)
    assert np.abs(block.values[:, ROLL_RATE]).max() > 0.1
    height = np.interp(times, truth[:, 0], truth[:, 2])
    assert_allclose(block.values[:, PRESSURE_ALTITUDE] / 0.3048, height, atol=15)
    assert any("receiving from 127.0.0.1" in s for s in told)


async def test_mavlink_with_losses_counted_and_a_second_sender_refused(ports: Ports) -> None:
    told = Heard()
    decoder = MavlinkLink()
    async with _running(ports, "udp://127.0.0.1:0", decoder, told) as listener:
        sender, other = MavSender(listener.port.result()), MavSender(listener.port.result(), system=9)
        sender.send(0, 40)
        await _stored(ports, 40)
        other.send(0, 10)
        sender.link.mav.seq = (sender.link.mav.seq + 3) % 256  # three messages that never arrive
        sender.send(43, 40)
        block = await _stored(ports, 80)
        sender.close()
        other.close()
        assert listener.pin.foreign == 12
    assert decoder.counts.lost == 3
    assert_allclose(np.rad2deg(block.values[:, ROLL_RATE]), 84.8528, atol=1e-3)
    assert_allclose(block.values[:, PRESSURE_ALTITUDE] / 0.3048, 10_000, atol=0.5)
    assert sorted(set(np.diff(block.time_ns).tolist())) == [20_000_000, 80_000_000]
    assert "3 messages missing" in listener.sentence
    assert "12 messages of other senders left out" in listener.sentence


async def test_garbage_does_not_close_a_link(ports: Ports) -> None:
    told = Heard()
    decoder = LabelledValues(ChannelMap.model_validate(MAP))
    async with _running(ports, "udp://127.0.0.1:0", decoder, told) as listener:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sender.connect(("127.0.0.1", listener.port.result()))
            rng = np.random.default_rng(3)
            for _ in range(50):
                sender.send(rng.bytes(200))
            sender.send(b"Time,P,Q,R,Pressure\n")
            sender.send(b"1,2,3,4,1500\n2,2,3,4,1500\n")
            block = await _stored(ports, 2)
    assert len(block) == 2
    assert any("not usable" in s for s in told)


async def test_the_next_peer_may_connect_when_the_first_has_gone(ports: Ports) -> None:
    decoder = LabelledValues(ChannelMap.model_validate(MAP), "Time,P,Q,R,Pressure")
    async with _running(ports, "tcp://127.0.0.1:0", decoder, Heard()) as listener:
        for k in range(2):
            _, writer = await asyncio.open_connection("127.0.0.1", listener.port.result())
            writer.write(f"{1_900_000_000 + k},1,2,3,1500\n1,2,".encode())
            await writer.drain()
            await _stored(ports, k + 1)
            writer.close()
            await writer.wait_closed()

            async def gone() -> bool:
                return listener.pin.peer is None

            await until(gone, what="the end of the connection")
    assert decoder.counts.damaged == {}
