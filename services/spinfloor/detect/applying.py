"""Inputs to a detector, the same way in flight, in a rerun and when an archive is checked."""

from __future__ import annotations

from collections.abc import Sequence

import structlog

from spinfloor.core.detector.detector import Detector
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event, Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.building import floors_from
from spinfloor.ports.inputs import FloorsInput, FramesInput, Input, MarkInput, TickInput

log = structlog.get_logger("spinfloor.detect")


def apply_all(detector: Detector, inputs: Sequence[Input]) -> list[Event]:
    """Inputs in order; batches that follow one another are fed as one block, which makes the same events."""
    events: list[Event] = []
    blocks: list[FrameBlock] = []
    for one in inputs:
        if isinstance(one, FramesInput):
            blocks.append(one.block)
            continue
        events += _fed(detector, blocks)
        blocks = []
        events += apply(detector, one)
    return events + _fed(detector, blocks)


def apply(detector: Detector, one: Input) -> list[Event]:
    """One input of any kind; frames alone are better fed in blocks, as `apply_all` does."""
    match one:
        case TickInput(time_ns=time_ns):
            return detector.tick(time_ns)
        case MarkInput(mark=mark):
            return _mark(detector, mark)
        case FloorsInput(floors=floors, time_ns=time_ns, by=by):
            return detector.set_floors(floors_from(floors), time_ns, by)
        case FramesInput(block=block):
            return detector.feed(block)


def _fed(detector: Detector, blocks: Sequence[FrameBlock]) -> list[Event]:
    return detector.feed(FrameBlock.joined(blocks)) if any(len(block) for block in blocks) else []


def _mark(detector: Detector, mark: Mark) -> list[Event]:
    try:
        return detector.mark(mark)
    except SpinfloorError as exc:
        # Checked before it was journalled; one that has become impossible since is passed over, every time alike.
        log.warning("mark passed over", sortie=detector.sortie, reason=exc.sentence)
        return []
