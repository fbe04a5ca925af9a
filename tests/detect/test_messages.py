"""What watchers are sent: numbers that a browser can read, whatever a channel says."""

from __future__ import annotations

import numpy as np
import orjson

from spinfloor.core.channels import CHANNEL_COUNT, PRESSURE_ALTITUDE
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.messages import state_message


def test_an_absurd_altitude_is_no_number_on_the_strip() -> None:
    values = np.zeros((3, CHANNEL_COUNT))
    values[:, PRESSURE_ALTITUDE] = (3048.0, 1.7e308, np.nan)
    message = orjson.loads(state_message({}, FrameBlock(np.arange(3, dtype=np.int64), values)))
    assert message["strip"]["altitude_ft"] == [10_000.0, None, None]
