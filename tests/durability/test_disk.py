"""Trouble with the disk as the system gives it: full, read-only, a damaged page. Told in a sentence, nothing lost."""

from __future__ import annotations

import asyncio
import itertools
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import msgspec
import numpy as np
import pytest
from tests.serving_thread import Serving, frames, plan_data, serving
from tests.tools.running import RunningService
from tests.waiting import wait_for
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from spinfloor.adapters.sqlite import DATABASE_NAME, open_store
from spinfloor.client import encode_batch
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import FrameBlock

MSGPACK = {"Content-Type": "application/msgpack"}
NOBODY = 65534
PAGE = 4096  # SQLite's default page size since 3.12.0


def noise(sequence: int, rows: int = 1000) -> bytes:
    """A batch that doesn't compress, later than the ones before."""
    values = np.random.default_rng(sequence).normal(size=(rows, CHANNEL_COUNT))
    times = np.arange(rows, dtype=np.int64) * 10_000_000 + (1 + sequence * rows) * 10_000_000
    return encode_batch("s", sequence, FrameBlock(times, values))


def send(service: Serving, sortie: str, body: bytes) -> httpx.Response:
    return service.http.post(f"/v1/sorties/{sortie}/frames", content=body, headers=MSGPACK)


@contextmanager
def files_of_at_most(size: int) -> Iterator[None]:
    """What a full disk does: the system refuses to make any file of this process longer than `size` bytes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_is_told_keeps_what_was_acknowledged_and_is_forgotten_when_there_is_room(tmp_path: Path) -> None:
    with serving(tmp_path) as running:
        running.sortie("full")
        assert send(running, "full", noise(0)).status_code == 200
        acknowledged = 1
        with files_of_at_most(1 << 20):
            while (answer := send(running, "full", noise(acknowledged))).status_code == 200:
                acknowledged += 1
                assert acknowledged < 100
            problem = answer.json()
            assert (answer.status_code, problem["code"]) == (503, "storage-unavailable")
            assert "nothing was acknowledged" in problem["detail"]
            assert int(answer.headers["Retry-After"]) >= 1
            ready = running.http.get("/readyz")
            assert (ready.status_code, ready.json()["code"]) == (503, "not-ready")
            assert running.http.get("/healthz").status_code == 200
            assert running.http.get("/v1/sorties/full").json()["frames"]["count"] == 1000 * acknowledged
        assert send(running, "full", noise(acknowledged)).json()["accepted"] == 1000
        wait_for(lambda: running.http.get("/readyz").status_code == 200, seconds=20.0, what="readiness")

        def well() -> bool:
            state = running.http.get("/v1/sorties/full/state").json()
            return bool(state["settled"]) and state["trouble"] is None

        wait_for(well, seconds=60.0, what="the detector's going on")
    assert frames_on_disk(tmp_path, "full") == 1000 * (acknowledged + 1)


def frames_on_disk(folder: Path, sortie: str) -> int:
    async def count() -> int:
        ports = open_store(folder)
        try:
            return (await ports.frames.extent(sortie)).frames
        finally:
            await ports.close()

    return asyncio.run(count())


READ_ONLY = """
import os, sys
import spinfloor.adapters.sqlite, spinfloor.api.app, spinfloor.serving, spinfloor.commands.serve, spinfloor.logs
from spinfloor.cli import build, main
build()
if os.geteuid() == 0:
    os.setuid(65534)
main(["serve", "--no-screen", "--port", "0", "--data", sys.argv[1]])
"""


def test_a_read_only_disk_ends_the_start_with_one_sentence_and_changes_nothing() -> None:
    folder = Path(tempfile.mkdtemp(prefix="spinfloor-readonly-"))
    try:
        asyncio.run(open_store(folder).close())
        before = (folder / DATABASE_NAME).read_bytes()
        for path in folder.iterdir():
            path.chmod(0o444)
        folder.chmod(0o555)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, str(folder)], capture_output=True, text=True, timeout=120, check=False
        )
        assert done.returncode == 1, done.stderr
        assert done.stderr.splitlines()[-1].startswith("spinfloor: Expected")
        assert "Traceback" not in done.stderr
        assert (folder / DATABASE_NAME).read_bytes() == before
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


@contextmanager
def taking_no_writes(*paths: Path) -> Iterator[None]:
    """Files that the system lets nobody change, those included who have them open (ext2 and its successors, as root)."""
    try:
        done = [subprocess.run(["chattr", "+i", path], capture_output=True, check=False) for path in paths]
        if any(one.returncode for one in done):
            pytest.skip("the system doesn't let this user make files unchangeable")
        yield
    finally:
        for path in paths:
            subprocess.run(["chattr", "-i", path], capture_output=True, check=False)


@pytest.mark.skipif(shutil.which("chattr") is None or os.geteuid() != 0, reason="needs root and chattr")
def test_a_disk_that_takes_no_more_writes_while_running_is_told_and_gone_on_with_afterwards(tmp_path: Path) -> None:
    with serving(tmp_path) as running:
        running.sortie("stuck")
        assert send(running, "stuck", noise(0)).status_code == 200
        wait_for(lambda: running.http.get("/v1/sorties/stuck/state").json()["settled"], seconds=60.0, what="its state")
        files = [tmp_path / f"{DATABASE_NAME}{end}" for end in ("", "-wal")]
        with taking_no_writes(*files):
            answers = [send(running, "stuck", noise(1)) for _ in range(3)]
            assert {(a.status_code, a.json()["code"]) for a in answers} == {(503, "storage-unavailable")}
            assert "nothing was acknowledged" in answers[0].json()["detail"]
            assert running.http.get("/readyz").status_code == 503
            assert running.http.get("/healthz").status_code == 200
            assert running.http.get("/v1/sorties/stuck").json()["frames"]["count"] == 1000
            assert running.http.get("/v1/sorties/stuck/frames?format=csv").text.count("\n") == 1001
        assert send(running, "stuck", noise(1)).json()["accepted"] == 1000
        wait_for(lambda: running.http.get("/readyz").status_code == 200, seconds=20.0, what="readiness")
    assert frames_on_disk(tmp_path, "stuck") == 2000


def test_a_damaged_page_is_told_for_its_sortie_and_the_others_go_on(tmp_path: Path) -> None:
    with serving(tmp_path) as running:
        for name in ("hurt", "well"):
            running.sortie(name)
            for sequence in range(3):
                assert send(running, name, noise(sequence)).status_code == 200
    hurt = damage(tmp_path / DATABASE_NAME)
    assert hurt > 0
    with serving(tmp_path) as running:
        answer = running.http.get("/v1/sorties/hurt/frames?format=csv")
        problem = answer.json()
        assert (answer.status_code, problem["code"]) == (503, "storage-unavailable")
        assert "kept" in problem["detail"]
        assert running.http.get("/healthz").status_code == 200
        body = encode_batch("t", 0, frames().slice(0, 500))
        running.sortie("new")
        assert send(running, "new", body).json()["accepted"] == 500
        assert running.http.get("/v1/sorties/new/state").json()["settled"] is True
        assert running.http.get("/v1/sorties").status_code == 200
        for path in ("/v1/sorties/hurt", "/v1/sorties/hurt/state", "/v1/sorties/hurt/events", "/v1/sorties/hurt/spins"):
            assert running.http.get(path).status_code in (200, 503), path


def damage(database: Path) -> int:
    """Overwrite the pages of one sortie's frames that are overflow pages of a single batch; how many."""
    needle = np.random.default_rng(1).normal(
        size=(1000, CHANNEL_COUNT)
    )  # the second batch of "hurt", the first to have it
    data = bytearray(database.read_bytes())
    column = np.ascontiguousarray(needle[:, 0]).tobytes()
    place = data.find(column[2000:2032])
    if place < 0:
        return 0
    page = place // PAGE
    data[page * PAGE : (page + 1) * PAGE] = b"\xff" * PAGE
    database.write_bytes(data)
    return page


def test_a_row_that_holds_other_bytes_is_told_as_damage(tmp_path: Path) -> None:
    with serving(tmp_path) as running:
        running.sortie("bent")
        assert send(running, "bent", noise(0)).status_code == 200
    with sqlite3.connect(tmp_path / DATABASE_NAME) as database:
        database.execute("UPDATE inputs SET body = CAST(substr(body, 1, 500) AS BLOB)")
    database.close()
    with serving(tmp_path) as running:
        for path in ("/frames", "/frames?max_points=10"):
            answer = running.http.get(f"/v1/sorties/bent{path}")
            assert (answer.status_code, answer.json()["code"]) == (503, "storage-unavailable")
        assert running.http.get("/readyz").status_code == 200


def test_what_was_sent_behind_a_batch_that_found_no_room_is_not_taken_before_it(tmp_path: Path) -> None:
    """A large batch finds no room, a small one behind it would: acknowledged, it would stand before the large one for good."""
    with serving(tmp_path) as running:
        running.sortie("order")
        sizes = [1000, 1000, 4000, *[1] * 30]
        starts = np.concatenate([[0], np.cumsum(sizes)])
        whole = np.random.default_rng(1).normal(size=(starts[-1], CHANNEL_COUNT))
        times = np.arange(1, starts[-1] + 1, dtype=np.int64) * 10_000_000
        batches = [
            encode_batch("s", n, FrameBlock(times[a:b], whole[a:b]))
            for n, (a, b) in enumerate(itertools.pairwise(starts))
        ]
        for n in range(2):
            assert send(running, "order", batches[n]).status_code == 200
        log = tmp_path / f"{DATABASE_NAME}-wal"
        with files_of_at_most(log.stat().st_size + (200 << 10)):
            sent = _answers(running, "order", batches[2:])
        assert [one.get("acked") or one["error"]["code"] for one in sent] == ["storage-unavailable"]
        assert _answers(running, "order", batches[2:])[-1]["acked"] == len(batches) - 1
    assert list(times_on_disk(tmp_path, "order")) == list(times)


def _answers(service: Serving, sortie: str, batches: list[bytes]) -> list[dict[str, Any]]:
    """Everything sent at once over a socket, and what is answered until all is, or the socket is closed to try again later."""
    answers: list[dict[str, Any]] = []
    path = service.base.replace("http", "ws") + f"/v1/sorties/{sortie}/frames"
    with connect(path, proxy=None, max_size=None) as socket:
        for body in batches:
            socket.send(body)
        with suppress(ConnectionClosed):
            while len(answers) < len(batches):
                answer = socket.recv(timeout=60.0)
                assert isinstance(answer, bytes)
                answers.append(msgspec.msgpack.decode(answer))
        assert len(answers) == len(batches) or socket.close_code == 1013
    return answers


def times_on_disk(folder: Path, sortie: str) -> list[int]:
    async def read() -> list[int]:
        ports = open_store(folder)
        try:
            return [int(t) async for block in ports.frames.blocks(sortie) for t in block.time_ns]
        finally:
            await ports.close()

    return asyncio.run(read())


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to mount a small disk")
def test_killed_on_a_full_disk_and_started_on_it_the_service_says_so_and_goes_on_when_there_is_room(
    tmp_path: Path,
) -> None:
    """A disk of its own, really full: of frames, log and all."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "none", disk], check=False).returncode:
        pytest.skip("the system doesn't let this user mount a disk")
    try:
        service = RunningService(disk / "data", "--no-screen")
        service.log = tmp_path / "service.log"
        try:
            with service:
                kept = _fill(service)
                service.kill()
                _to_the_brim(service)  # what the killed process had held is free again
                service.log.write_bytes(b"")
                service.start(ready=False)
                wait_for(lambda: "disk is full" in service.log.read_text(), seconds=120.0, what="a word in the log")
                assert "Traceback" not in service.log.read_text()
                wait_for(
                    lambda: httpx.get(f"{service.base}/readyz").status_code == 503,
                    seconds=30.0,
                    what="readiness that says so",
                )
                assert httpx.get(f"{service.base}/healthz").status_code == 200
                subprocess.run(["mount", "-o", "remount,size=64m", disk], check=True)
                wait_for(lambda: _taken(service, noise(kept)), seconds=30.0, what="taking frames again")
        finally:
            service.kill()
        assert frames_on_disk(disk / "data", "small") == 1000 * (kept + 1)
    finally:
        subprocess.run(["umount", "-l", disk], check=False)


def _fill(service: RunningService) -> int:
    """Batches acknowledged until there is room for none, however small; how many large ones."""
    service.ask("POST", "/v1/sorties?id=small", json=plan_data())
    kept = 0
    while _taken(service, noise(kept)):
        kept += 1
    _to_the_brim(service)
    return kept


def _to_the_brim(service: RunningService) -> None:
    """Not a page is left on the disk."""
    with suppress(OSError), (service.data / "filler").open("ab", buffering=0) as filler:
        while True:
            filler.write(bytes(4096))


def _taken(service: RunningService, body: bytes) -> bool:
    answer = httpx.post(f"{service.base}/v1/sorties/small/frames", content=body, headers=MSGPACK, timeout=30.0)
    assert answer.status_code in (200, 503), answer.text
    return answer.status_code == 200
