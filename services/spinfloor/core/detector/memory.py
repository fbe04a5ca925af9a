"""Everything a detector remembers, as plain arrays: made fresh, copied out as bytes, put back bit for bit."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT, PITCH_RATE, ROLL_RATE, YAW_RATE
from spinfloor.core.detector.motion import MOTION_DTYPE
from spinfloor.core.detector.states import CHANNEL_DTYPE, FLAG_COUNT, RING_BINS, RING_WIDTH, STATE_DTYPE
from spinfloor.core.detector.tuning import CLIP_SHARE
from spinfloor.core.recovery.state import new_decision

Array = npt.NDArray[Any]

# Fields of the motion record that start as "not known" rather than zero.
_MOTION_START: Final = {"mode": -1, "power_on": -1}


@dataclass(slots=True)
class Memory:
    """The kernel's working records."""

    settings: Array
    cards: Array
    beliefs: Array
    motion: Array
    decision: Array
    state: Array
    channels: Array
    flags: Array
    ring: Array

    @staticmethod
    def fresh(settings: Array, cards: Array, beliefs: Array) -> Memory:
        """Nothing seen yet."""
        return Memory(
            settings=settings,
            cards=cards,
            beliefs=beliefs,
            motion=_fresh_motion(),
            decision=new_decision(),
            state=_fresh_state(),
            channels=_fresh_channels(settings),
            flags=np.zeros((CHANNEL_COUNT + 1, FLAG_COUNT, 2), np.int64),
            ring=np.zeros((RING_BINS, RING_WIDTH)),
        )

    def as_bytes(self) -> list[bytes]:
        """The arrays' bytes in field order."""
        return [getattr(self, f.name).tobytes() for f in fields(self)]

    def put_back(self, parts: list[bytes]) -> None:
        """Inverse of as_bytes, into arrays of the same shapes. Raises ValueError when a size differs."""
        for f, part in zip(fields(self), parts, strict=True):
            array: Array = getattr(self, f.name)
            if len(part) != array.nbytes:
                raise ValueError(f"{f.name} has {len(part)} bytes, not {array.nbytes}")
            array[...] = np.frombuffer(part, array.dtype).reshape(array.shape)


def _fresh_channels(settings: Array) -> Array:
    fresh = np.zeros(CHANNEL_COUNT, CHANNEL_DTYPE)
    fresh["rail"] = fresh["count"] = np.inf
    for channel, name in ((ROLL_RATE, "roll_rate"), (PITCH_RATE, "pitch_rate"), (YAW_RATE, "yaw_rate")):
        fresh["rail"][channel] = CLIP_SHARE * settings[f"{name}_range_radps"][0]
    return fresh


def _fresh_motion() -> Array:
    motion = np.zeros(1, MOTION_DTYPE)
    assert MOTION_DTYPE.fields is not None
    for name, field in MOTION_DTYPE.fields.items():
        if field[0] == np.float64:
            motion[name] = np.nan
    for name, value in _MOTION_START.items():
        motion[name] = value
    for name in ("turns", "turns_about_vertical", "turns_sd", "rotation_radps"):
        motion[name] = 0.0
    return motion


def _fresh_state() -> Array:
    state = np.zeros(1, STATE_DTYPE)
    state["dz"] = 1.0
    state["tas_ratio"] = 1.0
    state["bias_sd"] = 0.009  # half a degree per second: an unwarmed gyro, until calm flight or attitude says better
    state["mode_said"] = -1
    state["frame_dt"] = 0.02
    return state
