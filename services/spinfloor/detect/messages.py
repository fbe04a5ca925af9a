"""What the detect side publishes: live state and event messages, encoded once for every watcher."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import orjson

from spinfloor.core.channels import (
    ALPHA,
    CALIBRATED_AIRSPEED,
    CHANNELS,
    PITCH_RATE,
    PRESSURE_ALTITUDE,
    ROLL_RATE,
    YAW_RATE,
)
from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock

STRIP_COLUMNS: Final = (
    ("roll_rate_dps", ROLL_RATE),
    ("pitch_rate_dps", PITCH_RATE),
    ("yaw_rate_dps", YAW_RATE),
    ("alpha_deg", ALPHA),
    ("altitude_ft", PRESSURE_ALTITUDE),
    ("calibrated_airspeed_kt", CALIBRATED_AIRSPEED),
)
_STRIP_NAMES: Final = tuple(name for name, _ in STRIP_COLUMNS)
_STRIP_POSITIONS: Final = [position for _, position in STRIP_COLUMNS]
_STRIP_FACTORS: Final = np.array([[CHANNELS[position].si_per_unit] for position in _STRIP_POSITIONS])
STRIP_POINTS: Final = 40  # in one message; at 20 messages a second that is 800 points a second


def live_subject(sortie: str) -> str:
    """State messages, newest retained."""
    return f"live.{sortie}"


def events_subject(sortie: str) -> str:
    """Event messages, each as `event_message` makes it."""
    return f"events.{sortie}"


def played_subject(sortie: str) -> str:
    """How long a rehearsal has been played without a frame: `frame silent late` as text, the time of the newest frame sent,
    the recording's time since it was due, and how late it was sent on purpose, all ns."""
    return f"played.{sortie}"


def moved_subject(sortie: str) -> str:
    """The sortie a rehearsal goes on in, as text."""
    return f"moved.{sortie}"


def wake_subject(sortie: str) -> str:
    """Where the detect processes hear that there is something to do for a sortie."""
    return f"wake.{sortie}"


def presence_subject(sortie: str) -> str:
    """What the screens' side knows: who holds control, how many watch, which calls have not sounded (JSON object)."""
    return f"presence.{sortie}"


def strip(block: FrameBlock) -> dict[str, Any]:
    """The contract's strip of a block: few points, edge units, rounded, missing as null."""
    step = -(-len(block) // STRIP_POINTS) or 1
    with np.errstate(over="ignore"):  # an absurd value is no number on the strip either
        edge = np.round(block.values[::step].T[_STRIP_POSITIONS] / _STRIP_FACTORS, 2)
    columns: list[list[Any]] = edge.tolist()
    if not np.isfinite(edge).all():
        columns = [[value if math.isfinite(value) else None for value in column] for column in columns]
    return {"time_ns": block.time_ns[::step].tolist(), **dict(zip(_STRIP_NAMES, columns, strict=True))}


def nothing_yet(sortie: str) -> dict[str, Any]:
    """The state of a sortie whose detector has shown none."""
    return {
        "sortie": sortie, "phase": "unknown", "link": "none yet", "in_spin": False, "quality": [], "last_call": None,
    }  # fmt: skip


def state_message(state: Mapping[str, Any], block: FrameBlock | None) -> bytes:
    """`{"type":"state","state":...,"strip":...}` as the watchers get it."""
    message: dict[str, Any] = {"type": "state", "state": state}
    if block is not None and len(block):
        message["strip"] = strip(block)
    return orjson.dumps(message, option=orjson.OPT_SERIALIZE_NUMPY)


def event_message(event: Event, *, server_ns: int, received_ns: int | None) -> bytes:
    """As it is published: header line `run sequence`, then what the watchers get."""
    header = f"{event.run} {event.sequence}\n".encode()
    return header + event_body(event, server_ns=server_ns, received_ns=received_ns)


def event_body(event: Event, *, server_ns: int, received_ns: int | None) -> bytes:
    """`{"type":"event","event":...}` as the watchers get it; received_ns None: not known, or long ago."""
    return orjson.dumps(
        {"type": "event", "event": event.as_record(), "server_ns": server_ns, "received_ns": received_ns}
    )


def split_event_message(payload: bytes) -> tuple[str, int, bytes]:
    """(run, sequence, JSON message) of a published event."""
    header, _, body = payload.partition(b"\n")
    run, _, sequence = header.decode().rpartition(" ")
    return run, int(sequence), body
