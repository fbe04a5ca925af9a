"""The servers, for the tests of what happens when they fail."""

from tests.servers.fixtures import nats_server, own_nats, own_postgres, postgres_server

__all__ = ["nats_server", "own_nats", "own_postgres", "postgres_server"]
