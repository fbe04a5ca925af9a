"""`spinfloor rehearse` and `spinfloor clips` as they are run."""

from __future__ import annotations

import json
import shutil
import subprocess
import wave
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import yaml
from tests.command_line import Run
from tests.dashboard.flying import RECORDING, plan, stretch
from tests.places import RECORDINGS
from tests.serving_thread import ROOMY, Serving, serving
from tests.tools.running import COMMAND


def process(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=240.0, check=False)


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first spin of a recording with its plan beside it, as a file of its own."""
    folder = tmp_path_factory.mktemp("short")
    path = stretch(folder, 2.0, 22.0)
    shutil.copy(RECORDINGS / f"{RECORDING}.plan.yaml", path.with_name(f"{path.stem}.plan.yaml"))
    return path


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory, short: Path) -> Iterator[Serving]:
    settings = replace(ROOMY, recordings=(RECORDINGS, short.parent))
    with serving(tmp_path_factory.mktemp("rehearse"), settings) as running:
        yield running


def test_a_file_is_rehearsed_with_a_service_of_its_own(short: Path) -> None:
    done = process("rehearse", str(short), "--speed=10", "--fault=loss@7-11", "--format=json")
    assert done.returncode == 0, done.stderr
    sheet = json.loads(done.stdout)
    assert sheet["complete"] is True
    assert sheet["faults"] == [{"kind": "loss", "from_s": 7.0, "to_s": 11.0}]
    recover = next(line for line in sheet["lines"] if line["call"] == "recover")
    assert recover["due_ns"] is not None
    assert "watch it at http://127.0.0.1:" in done.stderr


def test_a_running_service_plays_its_own_recording(service: Serving, short: Path) -> None:
    listed = process("rehearse", f"--on={service.base}")
    assert RECORDING in listed.stdout
    done = process("rehearse", short.stem, f"--on={service.base}", "--speed=10", "--crew=1", "--sortie=team")
    assert done.returncode == 0, done.stderr
    assert "crew 1 turn late" in done.stdout
    assert "recover" in done.stdout
    assert service.http.get("/v1/sorties/team").json()["notes"]["crew_response_turns"] == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("nothing-of-the-kind",), "a recording of the library"),
        ((RECORDING, "--fault=lost"), "KIND"),
        ((RECORDING, "--crew=9"), "--crew"),
        ((RECORDING, "--plan=none.yaml"), "none.yaml"),
    ],
)
def test_a_wrong_request_ends_with_2(run: Run, service: Serving, arguments: tuple[str, ...], says: str) -> None:
    done = run("rehearse", *arguments, f"--on={service.base}")
    assert (done.exit_code, done.stdout) == (2, "")
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_nobody_there_ends_with_1(run: Run) -> None:
    assert run("rehearse", RECORDING, "--on=http://127.0.0.1:9").exit_code == 1


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="recording words needs espeak-ng, playing them doesn't")
def test_a_plans_own_words_are_recorded(run: Run, tmp_path: Path) -> None:
    words = tmp_path / "plan.yaml"
    words.write_text(yaml.safe_dump(plan(recover="controls opposite now")), encoding="utf-8")
    done = run("clips", str(words), f"--out={tmp_path / 'clips'}")
    assert done.exit_code == 0, done.stderr
    manifest = json.loads((tmp_path / "clips" / "manifest.json").read_text())
    assert list(manifest["phrases"]) == ["controls opposite now"]
    with wave.open(str(tmp_path / "clips" / manifest["phrases"]["controls opposite now"])) as reader:
        assert reader.getnframes() / reader.getframerate() > 0.5


def test_clips_of_no_plan_are_refused(run: Run, tmp_path: Path) -> None:
    done = run("clips", str(tmp_path / "none.yaml"), f"--out={tmp_path / 'clips'}")
    assert done.exit_code != 0
    assert "a plan whose call_words" in done.stderr
