"""What the pilot means to do: lines in order, each with what the hands do on every axis and when the line is over."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

LINE = 18
# what a hand does: go to a position, or hold something
POSITION, PITCH, LOAD, ALPHA, CLIMB = range(5)
BANK, ROLL_RATE, LEVEL = range(1, 4)
BALL = 1
# when a line is over
(TIME, TURNS, TURNS_PATH, ROLLED, ALPHA_ABOVE, ALPHA_BELOW, PITCH_ABOVE, PITCH_BELOW, SPEED_ABOVE, SPEED_BELOW,
 ROTATION_BELOW, FLYING) = range(12)  # fmt: skip
PLAIN, RECOVERING, PRO_SPIN = range(3)
Axis = tuple[int, float]
Until = tuple[int, float]
WINGS_LEVEL: Axis = (BANK, 0.0)
FEET: Axis = (BALL, 0.0)


@dataclass
class Card:
    """Lines; `late_s` is how long this pilot takes to notice that a line is over, `cap` the alpha kept free of the stall."""

    late_s: float
    cap: float
    lines: list[list[float]] = field(default_factory=list)

    def then(
        self, until: Until, longest_s: float = 30.0, *, lon: Axis = (PITCH, 0.05), lat: Axis = WINGS_LEVEL, yaw: Axis = FEET,
        throttle: float = 0.5, ramp_s: float = 0.3, late_s: float | None = None, what: int = PLAIN, cap: float | None = None,
        period_s: float = 0.0, swing: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> Card:  # fmt: skip
        """Append one line."""
        late = self.late_s if late_s is None else late_s
        cap = self.cap if cap is None else cap
        self.lines.append(
            [*map(float, lon), *map(float, lat), *map(float, yaw), throttle, ramp_s, *map(float, until), longest_s, late,
             float(what), cap, period_s, *swing]
        )  # fmt: skip
        return self

    def put(
        self, until: Until, longest_s: float = 30.0, *, aft: float = 0.0, right: float = 0.0, pedal: float = 0.0,
        throttle: float = 0.0, ramp_s: float = 0.3, late_s: float | None = None, what: int = PLAIN,
        period_s: float = 0.0, swing: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> Card:  # fmt: skip
        """Controls to positions over `ramp_s`, and stay."""
        return self.then(
            until, longest_s, lon=(POSITION, aft), lat=(POSITION, right), yaw=(POSITION, pedal), throttle=throttle,
            ramp_s=ramp_s, late_s=late_s, what=what, period_s=period_s, swing=swing,
        )  # fmt: skip

    def cruise(self, seconds: float, *, pitch: float = 0.05, bank: float = 0.0, throttle: float = 0.6) -> Card:
        """Hold an attitude."""
        return self.then((TIME, seconds), lon=(PITCH, pitch), lat=(BANK, bank), throttle=throttle, late_s=0.0)

    def pull_out(self, load: float, throttle: float = 0.1, to_pitch: float = 0.0) -> Card:
        """Wings level, then pull until the nose is up."""
        return self.then(
            (PITCH_ABOVE, to_pitch), 18.0, lon=(LOAD, load), lat=(LEVEL, 0.0), throttle=throttle, late_s=0.1
        )

    def roll_over(self, d: int, rate: float = 1.3) -> Card:
        """Half a roll to inverted."""
        return self.then(
            (ROLLED, 0.9 * math.pi), 4.0, lon=(LOAD, 0.5), lat=(ROLL_RATE, rate * d), throttle=0.7, late_s=0.0
        )

    @property
    def array(self) -> np.ndarray:
        """float64, shape (lines, LINE)."""
        return np.array(self.lines, dtype=np.float64)
