"""Heights remembered, moved with their datum when the altimeter setting or the floors' reference changes in flight."""

from __future__ import annotations

from typing import Final

from spinfloor.core.detector.memory import Memory

# Corrected heights, by record. The tracked reading (state "alt") and the ring of heights are raw and stay.
MOTION: Final = (
    "altitude_m", "spin_start_altitude_m", "spin_end_altitude_m", "recovery_start_altitude_m", "level_altitude_m",
)  # fmt: skip
STATE: Final = (
    "chain_alt", "turn_alt", "low_alt", "move_alt", "stop_alt", "unstall_alt", "fall_alt",
    "near_alt", "yaw_gone_alt", "belly_alt", "flip_alt", "deep_alt",
)  # fmt: skip
DECISION: Final = (
    "predicted_level_m", "predicted_bound_m", "predicted_low_m", "predicted_high_m", "card_loss_start_m",
)  # fmt: skip


def move_heights(memory: Memory, by_m: float) -> None:
    """Add `by_m` to every corrected height the detector remembers."""
    for record, names in ((memory.motion, MOTION), (memory.state, STATE), (memory.decision, DECISION)):
        for name in names:
            record[name] += by_m
