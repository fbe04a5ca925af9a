"""A real `spinfloor serve` process for tests, screenshots and benchmarks: started, found, killed, started again."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import httpx
from tests.waiting import wait_for

T = TypeVar("T")
COMMAND = (sys.executable, "-c", "from spinfloor.cli import main; main()")
START_WITHIN_S = 240.0  # the first start compiles the kernel, a minute and more on busy cores


class RunningService:
    """`with RunningService(folder) as service:` serves on a free loopback port until the end of the block.

    host: "0.0.0.0" makes a service that asks for tokens; it is reached over loopback all the same.
    """

    def __init__(self, data: Path, *arguments: str, host: str = "127.0.0.1") -> None:
        self.data = data
        self.arguments = ("--host", host, *arguments)
        self.host = host
        self.port = 0
        self._process: subprocess.Popen[bytes] | None = None
        self.log = data.parent / f"{data.name}.log"

    @property
    def base(self) -> str:
        """http://127.0.0.1:port, https where the service was given a certificate"""
        return f"{self._scheme}://127.0.0.1:{self.port}"

    @property
    def _scheme(self) -> str:
        return "https" if "--tls-certificate" in self.arguments else "http"

    @property
    def pid(self) -> int:
        """Of the process that runs."""
        assert self._process is not None
        return self._process.pid

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()

    def start(self, *, ready: bool = True) -> None:
        """Start (again, on the same port) and wait until frames can be taken; ready=False: until it listens."""
        try:
            self._start()
            if ready:
                wait_for(self._ready, seconds=START_WITHIN_S, what=f"readiness (log: {self.log})")
        except BaseException:
            self.kill()
            raise

    def _start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [*COMMAND, "serve", "--port", str(self.port), "--data", str(self.data), *self.arguments],
                stdout=log,
                stderr=log,
            )
        self.port = self.port or int(wait_for(self._told_port, seconds=START_WITHIN_S, what="the address"))

    def _told_port(self) -> str:
        self._alive()
        _, found, rest = self.log.read_text(encoding="utf-8").partition(f"listening on {self._scheme}://{self.host}:")
        return rest.split()[0] if found else ""

    def _alive(self) -> None:
        if self._process is not None and self._process.poll() is not None:
            raise RuntimeError("the service ended:\n" + self.log.read_text(encoding="utf-8")[-2000:])

    def _ready(self) -> bool:
        self._alive()
        try:
            return httpx.get(f"{self.base}/readyz", timeout=2.0, verify=False).status_code == 200
        except httpx.TransportError:
            return False

    def kill(self) -> None:
        """SIGKILL, as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def end(self) -> None:
        """An orderly end; SIGKILL when it takes too long."""
        if self._process is None or self._process.poll() is not None:
            return
        self._process.terminate()
        try:
            self._process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            self.kill()

    def ask(self, method: str, path: str, **options: Any) -> Any:
        """JSON from the API. Raises httpx.HTTPStatusError with the problem's words."""
        answer = httpx.request(method, self.base + path, timeout=20.0, verify=False, **options)
        if answer.is_error:
            raise httpx.HTTPStatusError(answer.text, request=answer.request, response=answer)
        return answer.json()
