"""What is wrong with a plan, all of it at once: a path, what was expected, what came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Json


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault. `path` is dotted with list positions in brackets, e.g. `cards[2].turns`; empty for the whole plan."""

    path: str
    expected: str
    got: str

    @property
    def sentence(self) -> str:
        """The line a person reads."""
        return f"{self.path or 'plan'}: expected {self.expected}; got {self.got}"

    def as_record(self) -> dict[str, Json]:
        """Plain JSON."""
        return {"path": self.path, "expected": self.expected, "got": self.got}


class PlanError(SpinfloorError):
    """The plan was refused; `faults` holds every fault found."""

    code = "bad-plan"
    http_status = 422

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        super().__init__(
            expected="a plan without faults",
            got=f"{count} fault{'s' if count != 1 else ''}: " + "; ".join(f.sentence for f in self.faults[:20]),
            now="the plan was refused and nothing was changed",
            faults=[f.as_record() for f in self.faults],
        )
