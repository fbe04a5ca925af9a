"""The parts of the spread-out way to run, as a plain installation has them: without their drivers."""

from __future__ import annotations

import subprocess
import sys

import pytest

WITHOUT = "import sys; sys.modules[{driver!r}] = None; from spinfloor.cli import main; main()"
SERVERS = ("--nats-url", "nats://127.0.0.1:9", "--database-url", "postgresql://x@127.0.0.1:9/x")


@pytest.mark.parametrize("driver", ["nats", "asyncpg"])
@pytest.mark.parametrize("part", ["ingest", "detect", "screen"])
def test_without_the_drivers_a_part_says_what_to_install(part: str, driver: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT.format(driver=driver), part, *SERVERS],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stderr.startswith("spinfloor: Expected the drivers")
    assert "install spinfloor[spread]" in done.stderr
    assert done.stderr.count("\n") == 1
