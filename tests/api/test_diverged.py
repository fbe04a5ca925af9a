"""A detector that makes other events than the journal has: what was flown is still read."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.serving_thread import Serving, frames, serving

from spinfloor.adapters.sqlite import DATABASE_NAME
from spinfloor.client import encode_batch

CHANGED = """UPDATE events SET data = CAST(replace(CAST(data AS TEXT), '"right"', '"left"') AS BLOB)
WHERE kind = 'spin.started'"""


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Serving, list[dict[str, Any]]]]:
    """A service over a journal one of whose events is another, as if made by another detector of the same name."""
    folder: Path = tmp_path_factory.mktemp("diverged")
    with serving(folder) as service:
        service.sortie("flown")
        service.http.post(
            "/v1/sorties/flown/frames",
            content=encode_batch("s", 0, frames()),
            headers={"Content-Type": "application/msgpack"},
        )
        events: list[dict[str, Any]] = service.http.get("/v1/sorties/flown/events").json()["events"]
    with sqlite3.connect(folder / DATABASE_NAME) as database:
        assert database.execute(CHANGED).rowcount >= 1
        database.execute("DELETE FROM checkpoints")
    with serving(folder) as service:
        yield service, events


READERS = ("events", "spins", "report?format=pdf", "archive")


def test_what_was_flown_is_read(flown: tuple[Serving, list[dict[str, Any]]]) -> None:
    service, events = flown
    for reader in READERS:
        answer = service.http.get(f"/v1/sorties/flown/{reader}")
        assert answer.status_code == 200, (reader, answer.text)
    told = service.http.get("/v1/sorties/flown/events").json()["events"]
    assert [e["sequence"] for e in told] == [e["sequence"] for e in events]
    assert [e["data"].get("direction") for e in told if e["kind"] == "spin.started"] == ["left", "left"]
