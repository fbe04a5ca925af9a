"""What the shell needs from storage and transport, each port with its promise: order, loss, duplicates, backpressure.

A port is a `typing.Protocol`; the drivers live in `spinfloor.adapters`. One contract suite (`tests/ports/contract`)
runs over every adapter. `Ports` bundles one set of adapters for a process.
"""

from spinfloor.ports.audit import AuditLog, AuditRecord
from spinfloor.ports.beliefs import BeliefStore, StoredBeliefs
from spinfloor.ports.bundle import Ports
from spinfloor.ports.bus import Bus, Subscription
from spinfloor.ports.checkpoints import Checkpoint, CheckpointStore
from spinfloor.ports.clock import Clock
from spinfloor.ports.events import EventJournal
from spinfloor.ports.frames import Extent, FrameStore
from spinfloor.ports.inputs import (
    Appended,
    FloorsInput,
    FramesInput,
    InputJournal,
    JournalEntry,
    MarkInput,
    SourceState,
    TickInput,
)
from spinfloor.ports.leases import Grant, Leases
from spinfloor.ports.sessions import SessionRecord, SessionStore
from spinfloor.ports.sorties import SortieKind, SortieRecord, SortieStore
from spinfloor.ports.tokens import Role, TokenRecord, TokenStore

__all__ = [
    "Appended",
    "AuditLog",
    "AuditRecord",
    "BeliefStore",
    "Bus",
    "Checkpoint",
    "CheckpointStore",
    "Clock",
    "EventJournal",
    "Extent",
    "FloorsInput",
    "FrameStore",
    "FramesInput",
    "Grant",
    "InputJournal",
    "JournalEntry",
    "Leases",
    "MarkInput",
    "Ports",
    "Role",
    "SessionRecord",
    "SessionStore",
    "SortieKind",
    "SortieRecord",
    "SortieStore",
    "SourceState",
    "StoredBeliefs",
    "Subscription",
    "TickInput",
    "TokenRecord",
    "TokenStore",
]
