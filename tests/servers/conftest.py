"""The servers as fixtures, here and wherever another folder's conftest imports them."""

from tests.servers.fixtures import nats_server, own_nats, own_postgres, postgres_server

__all__ = ["nats_server", "own_nats", "own_postgres", "postgres_server"]
