"""The servers really are servers, and keep what they acknowledged over a kill."""

import signal

import asyncpg
import nats
import pytest
from tests.servers.processes import NatsServer, PostgresServer

pytestmark = pytest.mark.servers


async def test_nats_keeps_an_acknowledged_message_over_a_kill(own_nats: NatsServer) -> None:
    client = await nats.connect(own_nats.url, allow_reconnect=False)
    stream = client.jetstream()
    await stream.add_stream(name="kept", subjects=["kept.>"])
    acknowledged = await stream.publish("kept.a", b"one")
    await client.close()
    own_nats.stop(signal.SIGKILL)
    own_nats.start()
    again = await nats.connect(own_nats.url)
    message = await again.jetstream().get_msg("kept", seq=acknowledged.seq)
    assert message.data == b"one"
    await again.close()


async def test_postgres_keeps_a_committed_row_over_a_kill(own_postgres: PostgresServer) -> None:
    first = await asyncpg.connect(own_postgres.url())
    await first.execute("create table kept (a int)")
    await first.execute("insert into kept values (1)")
    await first.close()
    own_postgres.stop(signal.SIGQUIT)  # "immediate": no checkpoint, recovery at the next start
    own_postgres.start()
    second = await asyncpg.connect(own_postgres.url())
    assert await second.fetchval("select a from kept") == 1
    await second.close()


def test_postgres_is_the_one_of_the_package(postgres_server: PostgresServer) -> None:
    assert "PostgreSQL) 1" in postgres_server.run("postgres", "--version")
