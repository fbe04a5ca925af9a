"""What a shell would see of a command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


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
