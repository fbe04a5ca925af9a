"""Session-wide servers as pytest fixtures; a test that stops or restarts a server makes its own instead."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.servers.processes import NatsServer, PostgresServer


@pytest.fixture(scope="session")
def nats_server() -> Iterator[NatsServer]:
    """One NATS server for the whole test session; tests keep apart by the prefix of their subjects."""
    server = NatsServer()
    try:
        server.start()
        yield server
    finally:
        server.close()


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """One PostgreSQL server for the whole test session; tests keep apart by database."""
    server = PostgresServer()
    try:
        server.start()
        yield server
    finally:
        server.close()


@pytest.fixture
def own_nats() -> Iterator[NatsServer]:
    """A NATS server that the test may stop, kill and start again."""
    server = NatsServer()
    try:
        server.start()
        yield server
    finally:
        server.close()


@pytest.fixture
def own_postgres() -> Iterator[PostgresServer]:
    """A PostgreSQL server that the test may stop, kill and start again."""
    server = PostgresServer()
    try:
        server.start()
        yield server
    finally:
        server.close()
