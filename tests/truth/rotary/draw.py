"""One draw: an aircraft, a pilot, a side, and the small phrases that cards are made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from tests.truth.rotary import card as c
from tests.truth.rotary.card import Card
from tests.truth.rotary.shape import Shape


@dataclass(frozen=True)
class Draw:
    """All chance comes from `rng`; d is +1 to the right."""

    rng: np.random.Generator
    shape: Shape
    d: int
    late_s: float

    def u(self, low: float, high: float) -> float:
        """A number between."""
        return float(self.rng.uniform(low, high))

    def coin(self, chance: float = 0.5) -> bool:
        """Yes, with that chance."""
        return bool(self.rng.random() < chance)

    @property
    def stall(self) -> float:
        """Stall alpha, rad."""
        return self.shape.stall_rad

    @property
    def level(self) -> float:
        """Pitch that keeps the speed up: gliders glide."""
        return -0.05 if self.shape.thrust_n <= 0.0 else 0.05

    def card(self) -> Card:
        """An empty card of this pilot, who keeps clear of the stall by a sixth."""
        return Card(self.late_s, 0.85 * self.stall)

    def begun(self, seconds: float = 3.0, throttle: float = 0.6) -> Card:
        """Cruise first."""
        return self.card().cruise(seconds, pitch=self.level, throttle=throttle)

    def slow(
        self, card: Card, *, to: float = 0.93, bank: float = 0.0, throttle: float = 0.0, sink: float = 0.0
    ) -> Card:
        """Height held while the speed bleeds off, until alpha is near the stall."""
        return card.then(
            (c.ALPHA_ABOVE, to * self.stall),
            45.0,
            lon=(c.CLIMB, -sink),
            lat=(c.BANK, bank),
            throttle=throttle,
            cap=2.0,
            late_s=0.0,
        )

    def slow_inverted(self, card: Card, to: float = 0.93) -> Card:
        """The same hanging in the straps."""
        card.roll_over(self.d).then((c.TIME, self.u(1.0, 3.0)), lon=(c.CLIMB, 0.0), lat=(c.BANK, math.pi), throttle=0.6)
        return card.then(
            (c.ALPHA_ABOVE, to * self.shape.stall_inverted_rad), 45.0, lon=(c.CLIMB, 0.0), lat=(c.BANK, math.pi), throttle=0.0,
            cap=2.0, late_s=0.0,
        )  # fmt: skip

    def spin(
        self, card: Card, turns: float, *, d: int = 0, side: float = 1.0, aileron: float = 0.0, throttle: float = 0.0,
        ramp_s: float = 0.3, longest_s: float = 60.0, aft: float = 1.0, pedal: float = 1.0,
    ) -> Card:  # fmt: skip
        """Pro-spin controls until so many turns about the vertical. side -1: inverted."""
        d = d or self.d
        return card.put(
            (c.TURNS, turns), longest_s, aft=aft * side, pedal=pedal * d, right=aileron * d, throttle=throttle, ramp_s=ramp_s,
            what=c.PRO_SPIN,
        )  # fmt: skip

    def recover(self, card: Card, *, d: int = 0, side: float = 1.0, longest_s: float = 25.0) -> Card:
        """Pedal against, a pause, stick forward; centred when the rotation is seen to have stopped."""
        d = d or self.d
        card.put((c.TIME, self.u(0.2, 1.0)), aft=side, pedal=-d, ramp_s=self.u(0.1, 0.6), what=c.RECOVERING, late_s=0.0)
        forward = self.u(-0.6, 0.1)
        card.put(
            (c.FLYING, 0.75 * self.stall),
            longest_s,
            aft=forward * side,
            pedal=-d,
            ramp_s=self.u(0.15, 0.6),
            what=c.RECOVERING,
        )
        return card.put((c.TIME, self.u(0.3, 0.9)), ramp_s=0.25, late_s=0.0)

    def away(self, card: Card, load: float | None = None) -> Card:
        """Pull out and fly off."""
        card.pull_out(self.u(2.0, 3.4) if load is None else load)
        return card.cruise(self.u(3.0, 6.0), pitch=self.level, throttle=0.7)

    def finish(self, card: Card, *, d: int = 0, side: float = 1.0) -> Card:
        """Recover, pull out, fly off."""
        return self.away(self.recover(card, d=d, side=side))
