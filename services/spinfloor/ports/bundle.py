"""One set of adapters for a process."""

from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass
from typing import Any

from spinfloor.ports.audit import AuditLog
from spinfloor.ports.beliefs import BeliefStore
from spinfloor.ports.bus import Bus
from spinfloor.ports.checkpoints import CheckpointStore
from spinfloor.ports.clock import Clock
from spinfloor.ports.events import EventJournal
from spinfloor.ports.frames import FrameStore
from spinfloor.ports.inputs import InputJournal
from spinfloor.ports.leases import Leases
from spinfloor.ports.sessions import SessionStore
from spinfloor.ports.sorties import SortieStore
from spinfloor.ports.tokens import TokenStore


@dataclass(frozen=True, slots=True)
class Ports:
    """Everything the services are given.

    ready: one sentence saying what is wrong, or None. close: ends it. gauges: the depths of the queues by name.
    """

    sorties: SortieStore
    inputs: InputJournal
    frames: FrameStore
    events: EventJournal
    checkpoints: CheckpointStore
    leases: Leases
    bus: Bus
    beliefs: BeliefStore
    audit: AuditLog
    tokens: TokenStore
    sessions: SessionStore
    clock: Clock
    ready: Callable[[], Awaitable[str | None]]
    close: Callable[[], Coroutine[Any, Any, None]]
    gauges: Callable[[], dict[str, float]]
