"""Servers as pytest fixtures: one for the session, or one of its own for a test that stops or restarts it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TypeVar

import pytest
from tests.servers.processes import NatsServer, PostgresServer

Server = TypeVar("Server", NatsServer, PostgresServer)


@contextmanager
def _running(server: Server) -> Iterator[Server]:
    try:
        server.start()
        yield server
    finally:
        server.close()


@pytest.fixture(scope="session")
def nats_server() -> Iterator[NatsServer]:
    """One NATS server for the whole test session; tests keep apart by the prefix of their subjects."""
    with _running(NatsServer()) as server:
        yield server


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """One PostgreSQL server for the whole test session; tests keep apart by database."""
    with _running(PostgresServer()) as server:
        yield server


@pytest.fixture
def own_nats() -> Iterator[NatsServer]:
    """A NATS server that the test may stop, kill and start again."""
    with _running(NatsServer()) as server:
        yield server


@pytest.fixture
def own_postgres() -> Iterator[PostgresServer]:
    """A PostgreSQL server that the test may stop, kill and start again."""
    with _running(PostgresServer()) as server:
        yield server
