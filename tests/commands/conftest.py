"""The command line in this process, and what a shell would see of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from spinfloor.cli import main


@dataclass(frozen=True)
class Done:
    """How a command ended."""

    exit_code: int
    output: bytes
    stderr: str

    @property
    def stdout(self) -> str:
        """The output, when it is text."""
        return self.output.decode()


Run = Callable[..., Done]


@pytest.fixture
def run(capfdbinary: pytest.CaptureFixture[bytes]) -> Run:
    """Through the same entry point as the installed script; anything but an exit code fails the test."""

    def call(*arguments: object) -> Done:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capfdbinary.readouterr()
        code = ended.value.code or 0
        return Done(code if isinstance(code, int) else 1, out, err.decode())

    return call
