"""Migrations that keep data, a backup of a running service, and what a restored one goes on with."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path
from typing import Any

from tests.serving_thread import Serving, frames, serving

from spinfloor.adapters.sqlite import DATABASE_NAME, open_store
from spinfloor.adapters.sqlite.schema import MIGRATIONS
from spinfloor.client import encode_batch

MSGPACK = {"Content-Type": "application/msgpack"}
CUT = 300  # inside the first spin
PATIENT = {"data_age_limit_s": 10.0}


def send(service: Serving, sequence: int, start: int, stop: int) -> Any:
    body = encode_batch("s", sequence, frames().slice(start, stop))
    return service.http.post("/v1/sorties/kept/frames", content=body, headers=MSGPACK).json()


def events(service: Serving) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = service.http.get("/v1/sorties/kept/events").json()["events"]
    return found


def backed_up(source: Path, folder: Path) -> Path:
    """SQLite's online backup (sqlite3_backup, what `.backup` of its command line does)."""
    folder.mkdir()
    with sqlite3.connect(source / DATABASE_NAME) as live, sqlite3.connect(folder / DATABASE_NAME) as copy:
        live.backup(copy)
    live.close()
    copy.close()
    return folder


def back_to_the_first_version(connection: sqlite3.Connection) -> None:
    """Without what later migrations made."""
    for table in re.findall(r"CREATE TABLE (\w+)", " ".join(MIGRATIONS[1:])):
        connection.execute(f"DROP TABLE {table}")
    connection.execute("PRAGMA user_version = 1")


def test_a_backup_taken_mid_spin_goes_on_with_the_same_events(tmp_path: Path) -> None:
    with serving(tmp_path / "first") as running:
        running.sortie("kept", **PATIENT)
        send(running, 0, 0, CUT)
        events(running)
        folder = backed_up(tmp_path / "first", tmp_path / "copy")
        send(running, 1, CUT, len(frames()))
        undisturbed = events(running)
    with serving(folder) as running:
        assert send(running, 0, 0, CUT)["duplicates"] == CUT  # what was in the backup is known
        assert send(running, 1, CUT, len(frames()))["accepted"] == len(frames()) - CUT
        assert events(running) == undisturbed
        assert running.http.get("/v1/sorties/kept/audit").json()["records"]


def test_a_database_of_the_first_version_is_brought_up_to_date_with_all_it_holds(tmp_path: Path) -> None:
    with serving(tmp_path) as running:
        running.sortie("kept", **PATIENT)
        send(running, 0, 0, CUT)
        before = events(running)
    with sqlite3.connect(tmp_path / DATABASE_NAME) as old:
        back_to_the_first_version(old)
    old.close()
    with serving(tmp_path) as running:
        assert running.http.get("/readyz").status_code == 200
        assert events(running) == before
        assert send(running, 1, CUT, CUT + 10)["accepted"] == 10
    with sqlite3.connect(tmp_path / DATABASE_NAME) as new:
        assert new.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    new.close()


async def test_a_migration_cut_short_is_done_again_from_its_beginning(tmp_path: Path) -> None:
    await open_store(tmp_path).close()
    with sqlite3.connect(tmp_path / DATABASE_NAME) as half:
        back_to_the_first_version(half)  # killed between a table and its number: one transaction undoes both
    half.close()
    ports = open_store(tmp_path)
    assert await ports.ready() is None
    await ports.close()
