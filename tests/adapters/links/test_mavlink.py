"""What a MAVLink link says of messages that came before it knew every column."""

from __future__ import annotations

from typing import Any

import pytest
from pymavlink.dialects.v20 import common

from spinfloor.adapters.links import MavlinkLink


def _packed(messages: str) -> bytes:
    """A for an attitude, P for a pressure, 20 ms apart."""
    mav: Any = common.MAVLink(None, srcSystem=1, srcComponent=1)
    data = b""
    for place, letter in enumerate(messages):
        ms = 1000 + 20 * place
        if letter == "A":
            message = common.MAVLink_attitude_message(ms, 0.0, -0.785, 1.0, 1.481, 0.0, 1.481)
        else:
            message = common.MAVLink_scaled_pressure_message(ms, 696.8, 5.0, 2000)
        data += message.pack(mav)
        mav.seq = (mav.seq + 1) % 256
    return data


@pytest.mark.parametrize(("messages", "frames", "left_out"), [("PAAA", 3, 0), ("AAPAA", 2, 2), ("AAA", 0, 3)])
def test_what_came_too_early_is_counted_and_named(messages: str, frames: int, left_out: int) -> None:
    """The pressure that comes first is used in the first frame, and so is not left out."""
    link = MavlinkLink()
    assert sum(len(block) for block in link.take(_packed(messages), 1_900_000_000_000_000_000)) == frames
    said = f"messages before every column had come left out: {left_out}" if left_out else "frames made"
    assert link.counts.sentence.endswith(said)
    assert "labels" not in link.counts.sentence
