"""Things going wrong, done to frames before they are sent. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS
from spinfloor.core.frames import FrameBlock
from spinfloor.replay.model import Fault

Mask = npt.NDArray[np.bool_]


def _within(fault: Fault, seconds: npt.NDArray[np.float64]) -> Mask:
    inside: Mask = seconds >= fault.from_s
    if fault.to_s is not None:
        inside &= seconds < fault.to_s
    return inside


def apply_faults(block: FrameBlock, faults: Sequence[Fault], start_ns: int) -> FrameBlock:
    """The block as it would arrive: values changed, lost frames left out. start_ns: the recording's first time.

    A stuck channel keeps the first value this block has within the stretch, so give it the whole recording.
    """
    if not faults:
        return block
    seconds = ((block.time_ns - start_ns) * 1e-9).astype(np.float64)
    values = block.values.copy()
    keep = np.ones(len(block), np.bool_)
    for fault in faults:
        inside = _within(fault, seconds)
        if fault.kind == "loss":
            keep &= ~inside
        elif fault.channel is not None and bool(inside.any()):
            _change(values[:, CHANNEL_INDEX[fault.channel]], inside, fault)
    return FrameBlock(block.time_ns[keep], np.ascontiguousarray(values[keep]))


def _change(column: npt.NDArray[np.float64], inside: Mask, fault: Fault) -> None:
    factor = CHANNELS[CHANNEL_INDEX[fault.channel or ""]].si_per_unit
    if fault.kind == "stuck":
        column[inside] = column[np.flatnonzero(inside)[0]]
    elif fault.kind == "bias":
        column[inside] += (fault.value or 0.0) * factor
    elif fault.kind == "clip":
        limit = abs(fault.value or 0.0) * factor
        column[inside] = np.clip(column[inside], -limit, limit)


def delay_s(faults: Sequence[Fault], position_s: float) -> float:
    """How late a frame at this position arrives, in seconds of the recording."""
    late = [
        fault.seconds or 0.0
        for fault in faults
        if fault.kind == "delay" and fault.from_s <= position_s and (fault.to_s is None or position_s < fault.to_s)
    ]
    return max(late, default=0.0)
