"""What a worker process does for a rerun: a piece of a sortie's inputs through its detector, from state to state."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.detect.applying import apply_all
from spinfloor.detect.warm import warm_kernel
from spinfloor.ports.wire import decode_input

POLITE: Final = 10  # on the scale of nice: flights under way come first


@dataclass(frozen=True, slots=True)
class Start:
    """What a rerun begins with, as plain data that travels between processes. run: its name, None: the detector's."""

    sortie: str
    plan: Mapping[str, Any]
    beliefs: Mapping[str, Any] | None
    run: str | None = None


def begin() -> None:
    """Once per worker process."""
    os.nice(POLITE)
    warm_kernel()


def fresh(start: Start) -> Detector:
    """The detector a rerun begins with."""
    beliefs = None if start.beliefs is None else Beliefs.from_json(start.beliefs)
    detector = Detector(sortie=start.sortie, plan=Plan.model_validate(dict(start.plan)), beliefs=beliefs)
    if start.run is not None:
        detector.run = start.run
    return detector


def run_name(start: Start) -> str:
    """The name of a run with these settings and beliefs and the detector that is here."""
    return fresh(start).run


def advance(start: Start, state: bytes | None, bodies: Sequence[bytes]) -> tuple[bytes, list[Event]]:
    """A piece of the inputs (wire bodies, in order); state: of the piece before. The state behind it and the events."""
    detector = fresh(start) if state is None else Detector.restore(state)
    events = apply_all(detector, [decode_input(body, received_ns=0) for body in bodies])
    return detector.save(), events
