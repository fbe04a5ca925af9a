"""Archives over HTTP and by command: out of one running service, into another."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.command_line import Run
from tests.serving_thread import Serving, frames, plan_data, serving
from tests.waiting import wait_for

from spinfloor.client import Client, ServiceError, encode_batch

MSGPACK = {"Content-Type": "application/msgpack"}


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """Another service, with a store of its own."""
    with serving(tmp_path_factory.mktemp("other")) as running:
        yield running


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Serving]:
    """One that has learnt nothing yet."""
    with serving(tmp_path / "fresh") as running:
        yield running


@pytest.fixture(scope="module")
def archive(service: Serving) -> bytes:
    """Of a flown sortie."""
    service.sortie("a1", data_age_limit_s=0.5)
    block = frames()
    for sequence, first in enumerate(range(0, len(block), 500)):
        body = encode_batch("test", sequence, block.slice(first, first + 500))
        assert service.http.post("/v1/sorties/a1/frames", content=body, headers=MSGPACK).status_code == 200
    # The end of the frames is a loss of data; once that is told nothing more happens to the sortie.
    wait_for(lambda: told(service, "a1")[-1]["kind"] == "link", seconds=20.0, what="the loss of data")
    answer = service.http.get("/v1/sorties/a1/archive")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/zip")
    assert 'filename="a1.zip"' in answer.headers["content-disposition"]
    return answer.content


def told(service: Serving, sortie: str) -> list[dict[str, Any]]:
    events = service.http.get(f"/v1/sorties/{sortie}/events").json()["events"]
    return [{**event, "sortie": ""} for event in events]


def names(service: Serving) -> list[str]:
    return [one["id"] for one in service.http.get("/v1/sorties").json()["sorties"]]


def test_it_is_the_same_sortie_in_another_service(service: Serving, fresh: Serving, archive: bytes) -> None:
    other = fresh
    answer = other.http.post("/v1/archives", content=archive)
    assert answer.status_code == 201, answer.text
    done = answer.json()
    assert (done["sortie"], done["reproduced"], done["frames"]) == ("a1", "same", len(frames()))
    assert answer.headers["location"] == "/v1/sorties/a1"
    assert told(other, "a1") == told(service, "a1")
    assert other.http.get("/v1/sorties/a1/spins").json() == service.http.get("/v1/sorties/a1/spins").json()
    assert other.http.get("/v1/sorties/a1").json()["plan"] == service.http.get("/v1/sorties/a1").json()["plan"]
    state = other.http.get("/v1/sorties/a1/state").json()
    assert state["turns"] == service.http.get("/v1/sorties/a1/state").json()["turns"]
    assert done["recoveries_learnt"] == 2  # r02 is a pair of spins, both recovered
    aircraft = plan_data()["aircraft"]["name"]
    learnt = other.http.get(f"/v1/aircraft/{aircraft}/beliefs").json()["beliefs"]["evidence"]
    assert [(e["sortie"], e["spin"]) for e in learnt] == [("a1", 1), ("a1", 2)]
    assert told(other, "a1") == told(service, "a1")  # looking at it has added nothing
    again = other.http.get("/v1/sorties/a1/archive")
    assert other.http.post("/v1/archives?id=a1-copy", content=again.content).json()["reproduced"] == "same"


@pytest.mark.parametrize("place", [50, 600, 5_000, -5_000, -300, -10])
def test_a_damaged_archive_imports_nothing(other: Serving, archive: bytes, place: int) -> None:
    before = names(other)
    bad = bytearray(archive)
    for k in range(6):
        bad[place + k] ^= 0x5A
    answer = other.http.post("/v1/archives?id=damaged", content=bytes(bad))
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["code"] == "bad-archive"
    assert names(other) == before


def test_an_empty_body_and_a_taken_id_are_problems(service: Serving, archive: bytes) -> None:
    assert service.http.post("/v1/archives", content=b"").json()["code"] == "no-archive"
    taken = service.http.post("/v1/archives", content=archive)
    assert (taken.status_code, taken.json()["code"]) == (409, "sortie-exists")
    assert service.http.get("/v1/sorties/nobody/archive").status_code == 404
    assert service.http.post("/v1/archives?id=a%20b", content=archive).status_code == 422


async def test_the_client_carries_it_over(service: Serving, other: Serving, archive: bytes) -> None:
    async with Client(service.base) as source, Client(other.base) as target:
        data = await source.archive("a1")
        assert data == archive
        done = await target.import_archive(data, sortie="by-client")
        assert done["reproduced"] == "same"
        with pytest.raises(ServiceError) as refused:
            await target.import_archive(data[:-100], sortie="cut")
        assert refused.value.problem["code"] == "bad-archive"


def test_the_commands(run: Run, service: Serving, other: Serving, archive: bytes, tmp_path: Path) -> None:
    out = tmp_path / "a1.zip"
    assert run("archive", "export", "a1", f"--from={service.base}", f"--out={out}").exit_code == 0
    assert out.read_bytes() == archive
    done = run("archive", "import", str(out), f"--to={other.base}", "--as=by-command")
    assert (done.exit_code, "the same" in done.stderr) == (0, True), done.stderr
    assert told(other, "by-command") == told(service, "a1")
    out.write_bytes(archive[:1000])
    for arguments in ((str(out),), (str(tmp_path / "none.zip"),)):
        failed = run("archive", "import", *arguments, f"--to={other.base}", "--as=failed")
        assert failed.exit_code == 2
        assert "spinfloor: Expected " in failed.stderr
        assert "Traceback" not in failed.stderr
    assert "failed" not in names(other)
