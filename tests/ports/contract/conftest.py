"""Each contract test runs once per set of adapters."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from tests.ports.contract.sides import Side, embedded, spread
from tests.servers.fixtures import nats_server, postgres_server

__all__ = ["nats_server", "postgres_server"]

SIDES = ("embedded", pytest.param("spread", marks=pytest.mark.servers))


@pytest.fixture(params=SIDES)
async def side(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Side]:
    """The ports of one set of adapters over real stores."""
    if request.param == "embedded":
        async with embedded(tmp_path) as opened:
            yield opened
    else:
        nats, postgres = request.getfixturevalue("nats_server"), request.getfixturevalue("postgres_server")
        async with spread(nats, postgres) as opened:
            yield opened
