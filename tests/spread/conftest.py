"""The servers, for the parts that are started on them."""

from tests.servers.fixtures import nats_server, own_nats, own_postgres, postgres_server

__all__ = ["nats_server", "own_nats", "own_postgres", "postgres_server"]
