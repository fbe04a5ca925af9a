"""The flight every sortie of the load benchmark flies: a turn a second, so that there is much to tell."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from spinfloor.client import encode_batch
from spinfloor.core.frames import FrameBlock

LEVEL_S: Final = 1.0
TURN_S: Final = 1.0
AFTER_S: Final = 3.0
START_NS: Final = 1_700_000_000_000_000_000
PLAN: Final[dict[str, Any]] = {
    "title": "load",
    "aircraft": {"name": "load aircraft"},
    "floors": {"recovery_ft": 3000.0, "abandon_ft": 1500.0},
    "cards": [{"id": "L1", "direction": "right", "turns": 50.0, "entry_altitude_ft": 25000.0}],
}


def frames(rate_hz: float, spinning_s: float) -> FrameBlock:
    """Level flight, a steady spin to the right (alpha 50 deg, one turn a second), level flight again.

    Kinematic: p = w cos(alpha), r = w sin(alpha), 100 ft lost per turn. Made for its load, not to look real.
    """
    t = np.arange(int(rate_hz * (LEVEL_S + spinning_s + AFTER_S))) / rate_hz
    end = LEVEL_S + spinning_s
    spinning = np.clip((t - LEVEL_S) / 0.5, 0.0, 1.0) * np.clip((end - t) / 0.5, 0.0, 1.0)
    alpha_deg = 4.0 + 46.0 * spinning
    alpha = np.radians(alpha_deg)
    omega_dps = 360.0 / TURN_S * spinning
    columns = {
        "time_ns": START_NS + (t * 1e9).astype(np.int64),
        "roll_rate_dps": omega_dps * np.cos(alpha),
        "pitch_rate_dps": np.zeros_like(t),
        "yaw_rate_dps": omega_dps * np.sin(alpha),
        "pressure_altitude_ft": 25_000.0 - 100.0 * np.cumsum(spinning) / rate_hz,
        "alpha_deg": alpha_deg,
        "beta_deg": np.zeros_like(t),
        "calibrated_airspeed_kt": 90.0 - 30.0 * spinning,
    }
    return FrameBlock.from_columns(columns)


def batches(rate_hz: float, spinning_s: float, packet_s: float) -> list[bytes]:
    """The flight in packets as a telemetry link gives them, encoded."""
    block = frames(rate_hz, spinning_s)
    rows = max(1, round(rate_hz * packet_s))
    starts = range(0, len(block), rows)
    return [encode_batch("load", n, block.slice(i, min(i + rows, len(block)))) for n, i in enumerate(starts)]
