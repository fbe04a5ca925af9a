"""The stretch of flight that the plain loop and the kernel are compared on, and how their events are compared."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from tests.tools.bench import data

from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock

FIRST = 1_000


def stretch(frames: int) -> FrameBlock:
    """From before the first spin: entry, turns, recovery."""
    return data.one_set(0).slice(FIRST, FIRST + frames)


def kinds(events: Sequence[Event]) -> str:
    """What happened and when, as a digest; the numbers are left out: they may differ in the last bit."""
    told = [(event.kind.value, event.time_ns, event.detected_ns) for event in events]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:16]
