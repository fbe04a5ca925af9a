"""The parts as the processes that a person would start, on real servers."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import httpx
from tests.waiting import wait_for

START_LIMIT_S = 150.0  # a machine that has never run this version compiles the kernel first
TOLD = re.compile(r"listening on (http://\S+)")


class Part:
    """One `spinfloor` process; its log is kept for when a test fails."""

    def __init__(self, arguments: Sequence[str], environment: dict[str, str]) -> None:
        self.arguments = list(arguments)
        self.log = Path(tempfile.mkstemp(prefix="spinfloor-part-", suffix=".log")[1])
        self._environment = {**os.environ, **environment}
        self._file = self.log.open("wb")
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from spinfloor.cli import main; main()", *self.arguments],
            env=self._environment,
            stdout=self._file,
            stderr=self._file,
        )
        self._base: str | None = None

    @property
    def base(self) -> str:
        """Where it listens, once it does."""
        if self._base is None:
            wait_for(self._listening, seconds=START_LIMIT_S, what=f"start of {' '.join(self.arguments)}")
        assert self._base is not None, self.text()
        return self._base

    def _listening(self) -> bool:
        found = TOLD.search(self.text())
        self._base = found.group(1) if found else None
        return found is not None or self.process.poll() is not None

    def wait_ready(self) -> None:
        """Until /readyz says so."""
        base = self.base

        def ready() -> bool:
            with contextlib.suppress(httpx.HTTPError):
                return httpx.get(f"{base}/readyz", timeout=5.0).status_code == 200
            return False

        wait_for(ready, seconds=START_LIMIT_S, what=f"readiness of {' '.join(self.arguments)}")

    def text(self) -> str:
        """What it has logged."""
        return self.log.read_text(encoding="utf-8", errors="replace")

    def send(self, how: signal.Signals) -> None:
        """Send a signal."""
        self.process.send_signal(how)

    def end(self, how: signal.Signals = signal.SIGTERM, *, limit_s: float = 20.0) -> int:
        """Send a signal and wait for the end; its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(how)
        try:
            return self.process.wait(limit_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            return self.process.wait()

    def close(self) -> None:
        """Kill it if it still runs, and drop the log."""
        self.end(signal.SIGKILL)
        self._file.close()
        self.log.unlink(missing_ok=True)


class Fleet:
    """Parts on one pair of servers."""

    def __init__(self, nats_url: str, database_url: str, prefix: str) -> None:
        self.environment = {
            "SPINFLOOR_NATS_URL": nats_url,
            "SPINFLOOR_DATABASE_URL": database_url,
            "SPINFLOOR_PREFIX": prefix,
        }
        self.parts: list[Part] = []

    def start(self, command: str, *arguments: str, **environment: str) -> Part:
        """Start a part on a free port."""
        part = Part([command, "--port", "0", *arguments], {**self.environment, **environment})
        self.parts.append(part)
        return part

    def close(self) -> None:
        """End everything."""
        for part in self.parts:
            part.close()


@contextlib.contextmanager
def fleet(nats_url: str, database_url: str, prefix: str) -> Iterator[Fleet]:
    """Parts that end with the block."""
    opened = Fleet(nats_url, database_url, prefix)
    try:
        yield opened
    finally:
        opened.close()


async def wait_ready(*parts: Part) -> None:
    """Until every part is ready, without holding the loop."""
    await asyncio.gather(*(asyncio.to_thread(part.wait_ready) for part in parts))


def now() -> float:
    """Steady seconds."""
    return time.monotonic()
