"""`spinfloor serve`, `send` and `token` as they are run: processes, signals, exit codes."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import orjson
import pytest
from tests.command_line import Run
from tests.places import RECORDINGS
from tests.tools.running import COMMAND
from tests.waiting import wait_for

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.detector.detector import Detector

NAME = "r02-left-right-pair"
PLAN = RECORDINGS / f"{NAME}.plan.yaml"


def process(*arguments: str, timeout: float = 120.0) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=timeout, check=False)


class Served:
    """A `spinfloor serve` process; `base` is where it answers."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [*COMMAND, "serve", "--port=0", f"--data={folder}", "--no-screen", *arguments],
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.process.stderr is not None
        line = self.process.stderr.readline()
        self.base = line.split("listening on ")[1].split()[0]
        wait_for(self.ready, seconds=240.0, what="readiness")

    def ready(self) -> bool:
        try:
            return httpx.get(f"{self.base}/readyz", trust_env=False).status_code == 200
        except httpx.TransportError:
            return False

    def stop(self) -> int:
        """End it as an operator would; returns its exit code."""
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(120.0)
        assert self.process.stderr is not None
        self.process.stderr.close()
        return code


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    running = Served(tmp_path / "data")
    yield running
    if running.process.returncode is None:
        running.stop()


def events_of(base: str, sortie: str) -> list[dict[str, Any]]:
    return list(httpx.get(f"{base}/v1/sorties/{sortie}/events", trust_env=False, timeout=60.0).json()["events"])


def test_a_recording_sent_gives_the_events_of_its_analysis_and_outlives_an_orderly_end(
    served: Served, tmp_path: Path
) -> None:
    sent = process("send", str(RECORDINGS / f"{NAME}.parquet"), f"--to={served.base}", "--sortie=f1", f"--plan={PLAN}",
               "--speed=0")  # fmt: skip
    assert sent.returncode == 0, sent.stderr
    again = process("send", str(RECORDINGS / f"{NAME}.parquet"), f"--to={served.base}", "--sortie=f1", "--speed=0")
    assert " 0 frames taken" in again.stderr
    for another in ("r01-first-turns", "r08-abandon"):  # a shorter and a longer one
        refused = process(
            "send", str(RECORDINGS / f"{another}.parquet"), f"--to={served.base}", "--sortie=f1", "--speed=0"
        )
        assert refused.returncode == 2
        assert "other frames under the same number" in refused.stderr
    told = events_of(served.base, "f1")
    block = read_recording(RECORDINGS / f"{NAME}.parquet").block
    there = httpx.get(f"{served.base}/v1/sorties/f1", trust_env=False).json()["frames"]["count"]
    assert there == len(block)  # none of the others, not even from behind the batch that was refused
    alone = Detector(sortie="f1", plan=load_plan(PLAN)).feed(block)
    assert told[: len(alone)] == [orjson.loads(orjson.dumps(e.as_record())) for e in alone]
    assert {e["kind"] for e in told[len(alone) :]} <= {"link"}  # the recording's end is a loss of data
    assert served.stop() == 0
    back = Served(tmp_path / "data")
    assert events_of(back.base, "f1")[: len(told)] == told
    assert back.stop() == 0


def test_limits_come_from_the_file_the_environment_and_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = tmp_path / "spinfloor.yaml"
    config.write_text("serve: {max-batch-bytes: 2000, max-body-bytes: 3000, max-header-bytes: 4000}", encoding="utf-8")
    monkeypatch.setenv("SPINFLOOR_CONFIG", str(config))
    monkeypatch.setenv("SPINFLOOR_MAX_BODY_BYTES", "5000")
    monkeypatch.setenv("SPINFLOOR_MAX_HEADER_BYTES", "6000")
    running = Served(tmp_path / "data", "--max-header-bytes=7000")
    try:
        with httpx.Client(base_url=running.base, trust_env=False) as http:
            plan = http.post("/v1/sorties", content=b" " * 5001)
            batch = http.post("/v1/sorties/any/frames", content=b" " * 2001)
            head = http.get("/v1", headers={"x-much": "x" * 7000})
        assert [(a.status_code, a.json()["detail"]) for a in (plan, batch, head)] == [
            (413, "Expected a body of at most 5000 bytes; got a larger one; nothing was taken; send it in pieces."),
            (413, "Expected a body of at most 2000 bytes; got a larger one; nothing was taken; send it in pieces."),
            (431, "Expected headers of at most 7000 bytes; got more; nothing was done."),
        ]
    finally:
        assert running.stop() == 0
    refused = process("serve", "--max-connections=0")
    assert refused.returncode == 2
    assert "max-connections" in refused.stderr


def test_wrong_requests_end_with_2_and_one_sentence(run: Run, served: Served, tmp_path: Path) -> None:
    recording = str(RECORDINGS / f"{NAME}.parquet")
    broken = tmp_path / "broken.parquet"
    broken.write_bytes((RECORDINGS / f"{NAME}.parquet").read_bytes()[:2000])
    to = f"--to={served.base}"
    run("send", recording, to, "--sortie=there", f"--plan={PLAN}", "--speed=0")
    for arguments in (
        ("send", recording, to, "--sortie=nobody"),
        ("send", str(tmp_path / "none.parquet"), to, "--sortie=there"),
        ("send", str(broken), to, "--sortie=there"),
        ("report", "nobody", f"--from={served.base}"),
        ("send", recording, "--to=127.0.0.1:8000", "--sortie=there"),
        ("report", "there", "--from=nonsense"),
    ):
        done = run(*arguments)
        assert done.exit_code == 2, (arguments, done.stderr)
        assert done.stderr.startswith("spinfloor: Expected ")
        assert "Traceback" not in done.stderr


def test_the_report_follows_the_name_of_its_file(run: Run, served: Served, tmp_path: Path) -> None:
    run("send", str(RECORDINGS / f"{NAME}.parquet"), f"--to={served.base}", "--sortie=r", f"--plan={PLAN}", "--speed=0")
    for out, form, starts in (("r.pdf", (), b"%PDF"), ("r.PDF", (), b"%PDF"), ("r.html", (), b"<!"),
                              ("odd.pdf", ("--format=html",), b"<!")):  # fmt: skip
        done = run("report", "r", f"--from={served.base}", f"--out={tmp_path / out}", *form)
        assert (done.exit_code, (tmp_path / out).read_bytes().startswith(starts)) == (0, True), out
    assert run("report", "r", f"--from={served.base}", "--out=-", "--format=pdf").output.startswith(b"%PDF")


@pytest.mark.parametrize("speed", ["nan", "inf", "-1"])
def test_a_speed_that_is_none_is_refused(run: Run, speed: str) -> None:
    done = run("send", "r.parquet", "--to=http://127.0.0.1:1", "--sortie=there", f"--speed={speed}")
    assert done.exit_code == 2
    assert "'--speed'" in done.stderr


def test_a_folder_of_recordings_that_is_not_there_is_refused(tmp_path: Path) -> None:
    asked = (f"--data={tmp_path / 'data'}", "--no-screen", f"--recordings={tmp_path / 'nowhere'}")
    refused = process("serve", "--port=0", *asked)
    assert refused.returncode == 2
    assert "nowhere" in refused.stderr


def test_nobody_there_and_a_port_taken_end_with_1(run: Run, served: Served, tmp_path: Path) -> None:
    port = served.base.rsplit(":", 1)[1]
    assert process("serve", f"--port={port}", f"--data={tmp_path / 'other'}", "--no-screen").returncode == 1
    assert process("serve", "--port=0", f"--data={tmp_path / 'data'}", "--no-screen").returncode == 1
    served.stop()
    done = run("send", str(RECORDINGS / f"{NAME}.parquet"), f"--to={served.base}", "--sortie=x")
    assert (done.exit_code, "Traceback" in done.stderr) == (1, False)


def test_another_address_needs_a_token_and_takes_it(run: Run, tmp_path: Path) -> None:
    data = f"--data={tmp_path / 'tokens'}"
    refused = process("serve", "--host=0.0.0.0", "--port=0", data, "--no-screen")
    assert refused.returncode == 2
    assert "token" in refused.stderr
    secret = run("token", "add", "range link", "--role=watch", data).stdout.strip()
    listed = run("token", "list", data).stdout
    assert secret.split(".")[0] in listed
    assert secret.split(".")[1] not in listed
    running = Served(tmp_path / "tokens", "--host=0.0.0.0")
    port = running.base.rsplit(":", 1)[1]
    base = f"http://127.0.0.1:{port}"
    assert httpx.get(f"{base}/v1/sorties", trust_env=False).status_code == 401
    with_token = {"Authorization": f"Bearer {secret}"}
    assert httpx.get(f"{base}/v1/sorties", headers=with_token, trust_env=False).status_code == 200
    assert running.stop() == 0
    assert run("token", "revoke", secret.split(".")[0], data).exit_code == 0
    assert "revoked" in run("token", "list", data).stdout
    run("token", "add", "short link", "--role=watch", "--days=1e-9", data)
    assert "over since" in run("token", "list", data).stdout
