"""Small packets leave at once: an answer in two writes must not wait for an acknowledgement (RFC 896 against RFC 1122)."""

import asyncio
import socket

from spinfloor.serving import listen


async def test_accepted_connections_send_at_once() -> None:
    told: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    async def taken(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        told.set_result(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    listener = listen("127.0.0.1", 0)
    listener.setblocking(False)
    async with await asyncio.start_server(taken, sock=listener):
        _, writer = await asyncio.open_connection(*listener.getsockname())
        assert await told == 1
        writer.close()
        await writer.wait_closed()
