"""Programmes: one airframe of the family flown again and again in the same kind of spin, as a test team would.

Each programme draws its airframe, direction and entry once; from flight to flight the turns, the height, the gusts and
the pilot differ: how far the stick goes forward, how long after the pedal, and how hard the pull-out is. `SCATTER` says
how much the pilot differs: "wide" is the scatter of the single flights in `situations`, "card" that of a pilot who
flies the recovery written on the card.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from tests.truth import manoeuvres_spin as spin
from tests.truth.airframe import FAMILY, Airframe, scaled, vary
from tests.truth.flight import Flight, simulate
from tests.truth.keep import kept

# kind -> (airframes, turns flown, inverted)
KINDS: dict[str, tuple[tuple[str, ...], tuple[float, float], bool]] = {
    "one turn": (("tern", "swift", "ibis", "heron"), (0.9, 1.6), False),
    "developed": (("tern", "swift", "ibis"), (2.0, 8.0), False),
    "flat": (("heron", "crane"), (3.0, 7.0), False),
    "oscillatory": (("plover",), (3.0, 6.0), False),
    "inverted": (("swift", "ibis"), (1.0, 4.0), True),
}
# delay s, forward stick, load factor of the pull-out: lowest and highest drawn
SCATTER: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "wide": ((0.1, 1.2), (-0.7, -0.1), (2.2, 3.4)),
    "card": ((0.3, 0.7), (-0.5, -0.3), (2.5, 2.9)),
}
LONGEST_PULL_OUT_S = 20.0  # longer is an aircraft out of hand, not a pull-out


@dataclass(frozen=True)
class Programme:
    """One airframe in one kind of spin."""

    kind: str
    scatter: str
    seed: int
    frame: Airframe
    direction: int
    height_m: float
    style: int

    @staticmethod
    def drawn(kind: str, scatter: str, seed: int) -> Programme:
        """The same for the same three."""
        names, _, inverted = KINDS[kind]
        rng = np.random.default_rng([seed, list(KINDS).index(kind), list(SCATTER).index(scatter)])
        frame = vary(scaled(FAMILY[str(rng.choice(names))], float(rng.uniform(0.9, 1.7))), rng)
        style = 0 if inverted or kind in ("flat", "oscillatory") else int(rng.choice([0, 0, 1, 2]))
        return Programme(
            kind, scatter, seed, frame, int(rng.choice([-1, 1])), 6500.0 * float(rng.uniform(0.9, 1.15)), style
        )

    def flight(self, number: int) -> Flight:
        """Flight `number` of the programme, from 0."""
        _, turns, inverted = KINDS[self.kind]
        rng = np.random.default_rng([self.seed, number, 17])
        delay, forward, load = SCATTER[self.scatter]
        options: dict[str, Any] = {"delay": rng.uniform(*delay), "load": rng.uniform(*load)}
        options["forward"] = rng.uniform(-0.6, 0.0) if inverted and self.scatter == "wide" else rng.uniform(*forward)
        script = spin.plain(self.direction, float(rng.uniform(*turns)), inverted=inverted, style=self.style, **options)
        script.attitude(8.0, pitch=0.08, throttle=0.8)
        height = self.height_m * float(rng.uniform(0.85, 1.15))
        density = 1.2 * math.exp(-height / 10_000.0)
        stall_speed = math.sqrt(2 * self.frame.mass_kg * 9.8 / (density * self.frame.wing_area_m2 * 1.25))
        return simulate(
            f"{self.kind.replace(' ', '_')}-{self.scatter}-{self.seed}-{number}", self.kind, self.frame, script,
            seed=1000 * self.seed + number, height_m=height, speed_mps=1.3 * stall_speed,
            gust_mps=float(rng.choice([0.0, 0.5, 1.2, 2.0])), longest_s=150.0,
        )  # fmt: skip


def credible(flight: Flight) -> bool:
    """One spin of a sober kind, recovered and brought to level flight; decided from the truth alone."""
    spins = flight.truth["spins"]
    if len(spins) != 1 or flight.truth["segments_flown"] != flight.truth["segments"] or spins[0]["level_s"] is None:
        return False
    s = spins[0]
    recovery = s["turns"].get("rec_to_spinend", {"about_vertical": 9.0})["about_vertical"]
    pulled_through = s["level_s"] - s["spin_end_s"] > LONGEST_PULL_OUT_S
    return bool(recovery < 5.0 and s["settled"]["sink_fps"] < 420.0 and not pulled_through)


def flights(programme: Programme, count: int) -> list[Flight]:
    """The first `count` credible flights; fewer when the airframe will not do it (at most twice as many are tried)."""
    source = f"programme-{programme.scatter}-{programme.seed}-{_digest()}"
    out: list[Flight] = []
    for number in range(2 * count):
        if len(out) == count:
            break
        flight = kept(source, programme.kind, number, lambda _, n: programme.flight(n))
        if credible(flight):
            out.append(flight)
    return out


def _digest() -> str:
    return hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:8]
