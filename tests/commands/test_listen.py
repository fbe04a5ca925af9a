"""`spinfloor listen` and `spinfloor serve` as processes: a vehicle sends while the service is killed and comes back."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.command_line import Run
from tests.ingest.links.peers import MavSender
from tests.tools.running import COMMAND, RunningService
from tests.waiting import wait_for

from spinfloor.core.plan.defaults import default_plan
from spinfloor.core.plan.load import plan_to_data


@pytest.fixture
def service(tmp_path: Path) -> Iterator[RunningService]:
    """A real service without screens."""
    with RunningService(tmp_path / "data", "--no-screen") as running:
        yield running


def _frames(service: RunningService) -> int:
    return int(service.ask("GET", "/v1/sorties/link")["frames"]["count"])


def test_nothing_received_is_lost_when_the_service_is_killed(service: RunningService, tmp_path: Path) -> None:
    service.ask("POST", "/v1/sorties?id=link", json=plan_to_data(default_plan()))
    log = tmp_path / "listen.log"
    with log.open("wb") as err:
        listener = subprocess.Popen(
            [*COMMAND, "listen", "udp://127.0.0.1:0", "--form", "mavlink", "--to", service.base, "--sortie", "link"],
            stderr=err,
        )
    try:

        def told_port() -> str:
            _, found, rest = log.read_text().partition("listening on udp port ")
            return rest.split()[0] if found else ""

        sender = MavSender(int(wait_for(told_port, seconds=60, what="the listener's port")))
        sender.send(0, 100)
        wait_for(lambda: _frames(service) == 100, seconds=20, what="the first hundred frames")
        service.kill()
        sender.send(100, 100)
        wait_for(lambda: "Trying again" in log.read_text(), seconds=20, what="word of the service being away")
        service.start()
        sender.send(200, 50)
        wait_for(lambda: _frames(service) == 250, seconds=30, what="every frame")
        sender.close()
    finally:
        listener.send_signal(signal.SIGTERM)
        assert listener.wait(timeout=120) == 0
    columns = service.ask("GET", "/v1/sorties/link/frames")["columns"]
    steps = {b - a for a, b in zip(columns["time_ns"], columns["time_ns"][1:], strict=False)}
    assert steps == {20_000_000}
    assert "250 frames on disk" in log.read_text()
    assert "Traceback" not in log.read_text()


@pytest.mark.parametrize(
    ("arguments", "telling"),
    [
        (["udp://0.0.0.0:0", "--form", "mavlink"], "--from"),
        (["nonsense", "--form", "mavlink"], "udp://127.0.0.1:5501"),
        (["udp://127.0.0.1:0", "--form", "morse"], "morse"),
    ],
)
def test_bad_requests(run: Run, arguments: list[str], telling: str) -> None:
    done = run("listen", *arguments, "--to", "http://127.0.0.1:9", "--sortie", "x")
    assert done.exit_code == 2
    assert telling in done.stderr
    assert "Traceback" not in done.stderr
