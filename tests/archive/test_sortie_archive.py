"""One file per sortie: what is exported from one store and imported into another is the same, and gives the same events."""

from __future__ import annotations

import asyncio
import hashlib
import io
import json
import zipfile
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import polars as pl
import pytest
from tests.archive.archived import LEARNT, SORTIE, archive_bytes, exported, fly, record, store
from tests.serving_thread import frames

from spinfloor.adapters.sortie_file import ArchiveError, open_archive
from spinfloor.archive.bench import Bench
from spinfloor.archive.importing import NotReproducedError, import_sortie
from spinfloor.core.events import Json
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import SortieExistsError
from spinfloor.ports.inputs import FramesInput
from spinfloor.ports.wire import encode_input


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One worker process for all of them: it keeps nothing from one piece of work to the next."""
    made = Bench(1)
    yield made
    asyncio.run(made.close())


@pytest.fixture
async def flown(tmp_path: Path) -> AsyncIterator[Ports]:
    """A store with the sortie."""
    async with store(tmp_path / "from") as ports:
        await fly(ports)
        yield ports


def nested(record: Mapping[str, Json], outer: str, inner: str) -> Json:
    held = record[outer]
    assert isinstance(held, dict)
    return held[inner]


def put(folder: Path, data: bytes) -> None:
    (folder / "parts").mkdir(parents=True)
    (folder / "a.zip").write_bytes(data)


async def take(
    ports: Ports, bench: Bench, data: bytes, folder: Path, *, sortie: str | None = None, keep: bool = False
) -> dict[str, object]:
    await asyncio.to_thread(put, folder, data)
    done = await import_sortie(
        ports, bench, folder / "a.zip", folder / "parts", sortie=sortie, keep_differences=keep, by="test"
    )
    return done.as_record()


async def inputs_of(ports: Ports, sortie: str) -> list[tuple[bytes, int]]:
    return [(encode_input(e.input), e.input.received_ns) for e in await ports.inputs.read(sortie, limit=10_000)]


async def events_of(ports: Ports, sortie: str) -> list[tuple[object, ...]]:
    events = await ports.events.read(sortie, limit=10_000)
    return [(e.run, e.sequence, e.kind, e.time_ns, e.detected_ns, dict(e.data)) for e in events]


async def test_elsewhere_it_is_the_same_sortie_with_the_same_events(flown: Ports, bench: Bench, tmp_path: Path) -> None:
    data = await exported(flown, tmp_path / "x")
    assert data == await exported(flown, tmp_path / "y")  # the same sortie, the same bytes
    async with store(tmp_path / "to") as ports:
        done = await take(ports, bench, data, tmp_path / "in")
        assert done["reproduced"] == "same"
        there, here = await flown.sorties.get(SORTIE), await ports.sorties.get(SORTIE)
        assert (here.plan, here.beliefs, here.belief_version) == (there.plan, there.beliefs, 3)
        assert (here.kind, here.created_ns, here.aircraft) == (there.kind, there.created_ns, there.aircraft)
        assert here.notes["card"] == "B1"
        assert nested(here.notes, "imported", "whole") is True
        assert await inputs_of(ports, SORTIE) == await inputs_of(flown, SORTIE)
        told = await events_of(ports, SORTIE)
        assert told == await events_of(flown, SORTIE)
        assert {kind for _, _, kind, *_ in told} >= {"spin.started", "spin.turn", "recovered", "call", "mark", "link"}
        floors = await ports.audit.read(sortie=SORTIE, action="floors")
        assert nested(floors[-1].data, "floors", "recovery_ft") == 6_100.0
        assert await ports.inputs.sources(SORTIE) == await flown.inputs.sources(SORTIE)
        supervisor = Supervisor(ports, owner="embedded")
        supervisor.warm.set()
        assert await supervisor.start() == 0  # it has been through the detector already
        runtime = await supervisor.runtime(SORTIE)
        assert runtime is not None
        assert runtime.detector.snapshot()["phase"] is not None
        await supervisor.close()
        assert await events_of(ports, SORTIE) == told
        with pytest.raises(SortieExistsError):
            await take(ports, bench, data, tmp_path / "again")
        assert (await take(ports, bench, data, tmp_path / "as", sortie="other"))["sortie"] == "other"
        assert await events_of(ports, "other") == told


async def test_what_is_inside_opens_with_other_peoples_libraries(flown: Ports, tmp_path: Path) -> None:
    data = await exported(flown, tmp_path / "x")
    with zipfile.ZipFile(io.BytesIO(data)) as zipped:
        assert zipped.testzip() is None
        zipped.extractall(tmp_path / "open")
    parts = tmp_path / "open"
    manifest = json.loads((parts / "manifest.json").read_text())
    for name, facts in manifest["parts"].items():
        assert hashlib.sha256((parts / name).read_bytes()).hexdigest() == facts["sha256"]
    assert {"detector", "kernel_source", "spinfloor", "python"} <= set(manifest["made_with"])
    block = frames()
    rates = np.concatenate([block.values[:300, 2], block.values[330:, 2]])
    by_pandas = pd.read_parquet(parts / "frames.parquet")["yaw_rate_radps"].to_numpy()
    by_polars = pl.read_parquet(parts / "frames.parquet")["yaw_rate_radps"].to_numpy()
    assert by_pandas.tobytes() == rates.tobytes() == by_polars.tobytes()
    turns = duckdb.execute(
        f"SELECT count(*) FROM read_json('{parts / 'events.ndjson'}', format='newline_delimited') "
        "WHERE kind = 'spin.turn'"
    ).fetchall()
    assert turns == [(sum(e.kind == "spin.turn" for e in await flown.events.read(SORTIE, limit=10_000)),)]
    settings = {one["name"]: one["value"] for one in json.loads((parts / "settings.json").read_text())}
    assert settings["data_age_limit_s"] == 0.5
    beliefs = json.loads((parts / "beliefs.json").read_text())
    assert beliefs["evidence"][0]["loss_per_turn_ft"] == LEARNT.loss_per_turn_ft
    assert "test conductor" in (parts / "README.txt").read_text()


def rewritten(data: bytes, change: Callable[[dict[str, bytes]], None]) -> bytes:
    """The archive with parts changed and the checksums put right, as somebody with a text editor would."""
    with zipfile.ZipFile(io.BytesIO(data)) as zipped:
        parts = {name: zipped.read(name) for name in zipped.namelist()}
    change(parts)
    manifest = json.loads(parts["manifest.json"])
    for name in manifest["parts"]:
        body = parts[name]
        manifest["parts"][name] = {"bytes": len(body), "sha256": hashlib.sha256(body).hexdigest()}
    parts["manifest.json"] = json.dumps(manifest).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as zipped:
        for name, body in parts.items():
            zipped.writestr(name, body)
    return out.getvalue()


def a_turn_less(parts: dict[str, bytes]) -> None:
    parts["events.ndjson"] = parts["events.ndjson"].replace(b'"turns":1.0', b'"turns":0.5', 1)


async def test_events_that_these_inputs_do_not_make_are_refused_or_kept_beside_ours(
    flown: Ports, bench: Bench, tmp_path: Path
) -> None:
    changed = rewritten(await exported(flown, tmp_path / "x"), a_turn_less)
    async with store(tmp_path / "to") as ports:
        with pytest.raises(NotReproducedError, match="other events from number"):
            await take(ports, bench, changed, tmp_path / "in")
        assert await ports.sorties.list_all() == []
        done = await take(ports, bench, changed, tmp_path / "kept", keep=True)
        assert done["reproduced"] == "different"
        run = (await flown.events.runs(SORTIE))[0]
        assert await ports.events.runs(SORTIE) == [run, f"rerun-{run}-here"]
        assert await ports.events.current_run(SORTIE) == run
        aside = await ports.events.read(SORTIE, run=f"rerun-{run}-here", limit=10_000)
        mine = [(e.kind, e.time_ns, dict(e.data)) for e in aside]
        assert mine == [(e.kind, e.time_ns, dict(e.data)) for e in await flown.events.read(SORTIE, limit=10_000)]


async def test_a_run_of_another_detector_stays_the_flown_one(flown: Ports, bench: Bench, tmp_path: Path) -> None:
    run = (await flown.events.runs(SORTIE))[0]

    def older(parts: dict[str, bytes]) -> None:
        for name in ("manifest.json", "events.ndjson"):
            parts[name] = parts[name].replace(run.encode(), b"0-0ldde7ec7")
        a_turn_less(parts)

    data = rewritten(await exported(flown, tmp_path / "x"), older)
    async with store(tmp_path / "to") as ports:
        done = await take(ports, bench, data, tmp_path / "in")
        assert done["reproduced"] == "other detector"
        assert await ports.events.current_run(SORTIE) == "0-0ldde7ec7"
        assert await ports.events.runs(SORTIE) == ["0-0ldde7ec7", f"rerun-{run}-here"]


async def test_an_archive_without_a_run_gets_the_one_made_here(bench: Bench, tmp_path: Path) -> None:
    async with store(tmp_path / "from") as ports:
        await ports.sorties.create(record())
        await ports.inputs.append(SORTIE, FramesInput("boom", 0, 1, frames()))
        data = await exported(ports, tmp_path / "x")
    async with store(tmp_path / "to") as ports:
        done = await take(ports, bench, data, tmp_path / "in")
        assert done["reproduced"] == "no run"
        assert await ports.events.current_run(SORTIE) == done["run"]
        assert len(await ports.events.read(SORTIE, kinds={"spin.ended"})) == 2  # r02 is a pair of spins
        newest = await ports.inputs.newest_offset(SORTIE)
        saved = await ports.checkpoints.newest(SORTIE)
        assert saved is not None
        assert saved.offset == newest


async def test_a_broken_off_import_goes_on_where_it_stopped(
    flown: Ports, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = await exported(flown, tmp_path / "x")
    async with store(tmp_path / "to") as ports:
        monkeypatch.setattr("spinfloor.archive.importing.STORE_INPUTS", 5)
        whole = type(ports.inputs).append_all
        calls = 0

        async def full(self: Any, sortie: str, entries: Any) -> Any:
            nonlocal calls
            calls += 1
            if calls == 3:
                raise OSError("the power went")
            return await whole(self, sortie, entries)

        monkeypatch.setattr(type(ports.inputs), "append_all", full)
        with pytest.raises(OSError, match="the power went"):
            await take(ports, bench, data, tmp_path / "in")
        monkeypatch.setattr(type(ports.inputs), "append_all", whole)
        assert len(await ports.inputs.read(SORTIE)) == 10
        add = type(ports.audit).add

        async def again(self: Any, record: AuditRecord) -> int:
            if record.action == "sortie.imported":
                raise OSError("the power went again")
            return await add(self, record)

        monkeypatch.setattr(type(ports.audit), "add", again)
        with pytest.raises(OSError, match="went again"):
            await take(ports, bench, data, tmp_path / "nearly")
        monkeypatch.setattr(type(ports.audit), "add", add)
        assert nested((await ports.sorties.get(SORTIE)).notes, "imported", "whole") is False
        done = await take(ports, bench, data, tmp_path / "rest")
        assert (done["resumed"], done["reproduced"]) == (True, "same")
        assert await inputs_of(ports, SORTIE) == await inputs_of(flown, SORTIE)
        assert await events_of(ports, SORTIE) == await events_of(flown, SORTIE)
        told = [record.action for record in await ports.audit.read(sortie=SORTIE)]
        assert told == [record.action for record in await flown.audit.read(sortie=SORTIE)] + ["sortie.imported"]


def put_in(name: str, old: bytes | None, new: bytes) -> Callable[[dict[str, bytes]], None]:
    """A change of one part: some text replaced, or (None) the whole."""

    def change(parts: dict[str, bytes]) -> None:
        assert old is None or old in parts[name]
        parts[name] = new if old is None else parts[name].replace(old, new)

    return change


@pytest.mark.parametrize(
    ("change", "telling"),
    [
        (lambda p: p.update(more=b"x"), "parts are missing"),
        (put_in("plan.json", None, b"{}"), "not valid here"),
        (put_in("plan.json", b'"name": "', b'"name": "Not '), "another aircraft"),
        (put_in("inputs.ndjson", b'{"kind":"tick"', b'{"kind":"tock"'), "no input"),
        (put_in("inputs.ndjson", b'"recovery_ft":', b'"recovery_yd":'), "floors"),
        (put_in("inputs.ndjson", None, b""), "disagree"),
        (put_in("frames.parquet", None, b"PAR1"), "no Parquet"),
        (put_in("events.ndjson", b'"sequence":1,', b'"sequence":7,'), "out of sequence"),
        (put_in("events.ndjson", b'"phase"', b'"faze"'), "no event"),
        (put_in("events.ndjson", None, b""), "0 events where"),
        (put_in("events.ndjson", b'"call":"', b'"call":"loud '), "no event"),
        (put_in("events.ndjson", b'"altitude_ft":', b'"altitude_ft":"low","was":'), "no event"),
        (put_in("events.ndjson", b'"pull_out_loss_ft":', b'"pull_out_loss_yd":'), "no event"),
        (put_in("manifest.json", b'"version": 1', b'"version": 2'), "version"),
        (put_in("manifest.json", b'"run": "', b'"run": "rerun-'), "named as a rerun"),
        (put_in("notes.json", None, b"[]"), "no JSON object"),
        (put_in("actions.ndjson", None, b"7\n"), "no JSON object"),
        (put_in("beliefs.json", None, b'{"schema_version": 99}'), "not valid here"),
    ],
)
def test_parts_that_do_not_fit_together_are_one_clear_error(
    tmp_path: Path, change: Callable[[dict[str, bytes]], None], telling: str
) -> None:
    refused(tmp_path, rewritten(archive_bytes(), change), telling)


def test_a_part_that_is_gone_is_one_clear_error(tmp_path: Path) -> None:
    refused(tmp_path, without(archive_bytes(), "beliefs.json"), "parts are missing")


def refused(folder: Path, data: bytes, telling: str) -> None:
    put(folder / "bad", data)
    with pytest.raises(ArchiveError, match=telling) as error:
        open_archive(folder / "bad" / "a.zip", folder / "bad" / "parts")
    assert error.value.sentence.endswith("nothing was imported.")


def without(data: bytes, gone: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            if name != gone:
                new.writestr(name, old.read(name))
    return out.getvalue()
