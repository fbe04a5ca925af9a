"""Every example of the how-to pages is run, against a running service where it speaks to one."""

from __future__ import annotations

import re
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml
from numpy.testing import assert_allclose
from tests.adapters.recordings.chapter10 import builder
from tests.docs.examples import blocks, of_kind, python, reader, shell
from tests.places import ROOT
from tests.serving_thread import Serving, serving
from tests.tools.running import COMMAND
from tests.waiting import wait_for

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.plan.channel_map import ChannelMap
from spinfloor.core.plan.load import plan_to_data


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A running service."""
    with serving(tmp_path_factory.mktemp("service")) as running:
        yield running


def test_recordings(tmp_path: Path) -> None:
    page, folder, known = "howto/recordings.md", reader(tmp_path), dict[str, object]()
    printed = []
    for kind, text in blocks(page):
        if kind == "python":
            python(text, folder, known)
        elif kind == "yaml":
            (folder / "own-map.yaml").write_text(text)
        else:
            printed.append(shell(text, folder))
    suggested = yaml.safe_load(printed[0])
    assert suggested["channel_map"]["columns"]["roll_rate_dps"]["source"] == "P"
    tables = [pd.read_csv(folder / name) for name in ("events.csv", "events-h5.csv", "events-mat.csv")]
    turns = [table[table["kind"] == "spin.turn"]["turns"].to_numpy() for table in tables]
    assert int(printed[1]) == len(turns[0]) == 2 + 1  # r01: one turn, then two, said in its notes
    for other in turns[1:]:
        assert_allclose(other, turns[0])


def test_chapter_10(tmp_path: Path) -> None:
    (text,) = of_kind("howto/chapter-10.md", "yaml")
    stream = b"".join(builder.minor_frame(849, 10, -849, 9000 - k) for k in range(50))
    path = tmp_path / "tape.ch10"
    path.write_bytes(builder.day_time(0, 127, 9, 0, 0) + builder.pcm(3, 10_000_000, stream))
    recording = read_recording(path, yaml.safe_load(text)["channel_map"])
    assert recording.notes == ()
    columns = recording.block.to_columns()
    assert_allclose(columns["yaw_rate_dps"], -84.9)
    assert_allclose(columns["pressure_altitude_ft"], 9000 - np.arange(50))
    assert str(np.datetime64(int(recording.block.time_ns[0]), "ns").astype("datetime64[s]")) == "2031-05-07T09:00:01"


@contextmanager
def listening(page: str, service: Serving, sortie: str, folder: Path) -> Iterator[str]:
    """The page's own `spinfloor listen` line, on a port of the system's choice; yields the port."""
    (line,) = re.findall(r"^    spinfloor (listen .*)$", (ROOT / "docs" / page).read_text(), re.MULTILINE)
    words = re.sub(r"127\.0\.0\.1:\d+(?= --form)", "127.0.0.1:0", line).replace("--sortie ID", f"--sortie {sortie}")
    log = folder / "listen.log"
    with log.open("wb") as err:
        arguments = words.replace("http://127.0.0.1:8000", service.base).split()
        process = subprocess.Popen([*COMMAND, *arguments], stderr=err)

    def port() -> str:
        _, found, rest = log.read_text().partition("listening on udp port ")
        return rest.split()[0] if found else ""

    try:
        yield str(wait_for(port, seconds=60, what="the listener's port"))
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=120) == 0


@pytest.mark.parametrize(("page", "port"), [("howto/mavlink.md", "14550"), ("howto/values-over-udp-or-tcp.md", "5501")])
def test_links(service: Serving, tmp_path: Path, page: str, port: str) -> None:
    plan = plan_to_data(load_plan(ROOT / "replay_data" / "r01-first-turns.plan.yaml"))
    for text in of_kind(page, "yaml"):
        plan = {**plan, **yaml.safe_load(text)}
    sortie = f"link-{port}"
    assert service.http.post(f"/v1/sorties?id={sortie}", json=plan).status_code == 201
    (sender,) = of_kind(page, "python")
    with listening(page, service, sortie, tmp_path) as chosen:
        python(sender.replace(port, chosen), tmp_path, {})

        def frames() -> bool:
            return bool(service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 100)

        wait_for(frames, seconds=30, what="a hundred frames")
    columns = service.http.get(f"/v1/sorties/{sortie}/frames").json()["columns"]
    assert_allclose(columns["yaw_rate_dps"], 84.85, atol=0.01)


def test_http_and_archive(service: Serving, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, known = reader(tmp_path), dict[str, object]()
    printed = ""
    for page in ("howto/http-and-websocket.md", "howto/archive-and-reprocess.md", "howto/debrief.md"):
        for kind, text in blocks(page):
            if kind == "python":
                python(text, folder, known, service.base)
            else:
                printed += shell(text, folder, service.base)
    assert '"accepted":2' in printed
    assert "recover" in printed  # the calls, on Debrief's page
    report = (folder / "by-client.html").read_text(encoding="utf-8")
    assert "The crew, the test conductor and the approved test plan decide" in report
    assert "by-client: rerun-" in printed
    told = capsys.readouterr().out
    assert told.count("right") >= 2 + 2  # r01: two spins to the right, printed twice
    sorties = {one["id"] for one in service.http.get("/v1/sorties").json()["sorties"]}
    assert {"by-curl", "by-client", "by-client-again"} <= sorties


def test_a_rule_added_as_the_page_says_gives_the_verdict_it_is_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    known = dict[str, object]()
    for text in of_kind("howto/add-a-rule.md", "python"):
        python(text, tmp_path, known)
    told = capsys.readouterr().out
    assert told.startswith("within by acceptance specification")
    assert "recovery turns: 1.20 turns, limit 1.5 turns" in told


def test_the_example_of_the_reference_is_a_map() -> None:
    (text,) = of_kind("reference/channel-map.md", "yaml")
    ChannelMap.model_validate(yaml.safe_load(text))
    page = (ROOT / "docs" / "reference" / "channel-map.md").read_text()
    from spinfloor.core.plan.channel_map import MappedColumn, TimeSource

    for model in (ChannelMap, MappedColumn, TimeSource):
        missing = [name for name in model.model_fields if f"`{name}`" not in page]
        assert missing == [], f"not explained: {missing}"


def test_the_rehearsal_recordings_are_listed() -> None:
    page = (ROOT / "docs" / "howto" / "rehearse.md").read_text(encoding="utf-8")
    index = yaml.safe_load((ROOT / "replay_data" / "index.yaml").read_text(encoding="utf-8"))
    for one in index["recordings"]:
        assert f"| `{one['id']}` | {one['title']} | {one['summary']} |" in page
        assert (ROOT / "replay_data" / one["notes"]).is_file()
