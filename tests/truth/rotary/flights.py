"""Named situations of this simulator: one random aircraft, pilot, sky and card for each seed, and which are credible.

`credible` looks at the motion alone. It does not ask for what the name promises: an entry that came to nothing and a roll
that ended in a spin are flights too, and their truth says what they are.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from tests.truth.catalogue import listed
from tests.truth.flight import Flight
from tests.truth.rotary.draw import Draw
from tests.truth.rotary.fly import Sky, simulate, stall_speed
from tests.truth.rotary.others import OTHERS
from tests.truth.rotary.shape import KINDS, drawn
from tests.truth.rotary.spins import SPINS

SOURCE = "rotary"
SITUATIONS = {**SPINS, **OTHERS}
PER_SITUATION, TRIED = 4, 60
FILE = Path(__file__).with_name("catalogue.txt")


def _asked(situation: str) -> tuple[str, ...]:
    """Kinds that are asked to do it, by chance among them; most things are flown by all."""
    if "snap" in situation or situation == "out of a tail slide":
        return ("aerobatic", "aerobatic", "heavy single", "trainer")
    if any(word in situation for word in ("loop", "roll", "hammer", "tail", "combat", "inverted")):
        return ("aerobatic", "aerobatic", "trainer", "jet", "heavy single")
    return tuple(KINDS)


def build(situation: str, seed: int) -> Flight:
    """Fly one draw of a situation."""
    make, speed = SITUATIONS[situation]
    rng = np.random.default_rng([seed, list(SITUATIONS).index(situation), 4])
    shape = drawn(str(rng.choice(_asked(situation))), rng)
    x = Draw(rng, shape, int(rng.choice([-1, 1])), float(rng.uniform(0.1, 0.5)))
    height = x.u(4800.0, 7000.0) if situation in SPINS else x.u(2500.0, 4500.0)
    rough = situation == "slow in rough air"
    heading = x.u(0.0, 2 * np.pi)
    gust = x.u(1.5, 3.0) if rough else float(rng.choice([0, 0, 0.7, 1.5, 2.2]))
    speed_mps = speed * stall_speed(shape, height)
    sky = Sky(height, speed_mps, heading, gust, x.u(0.04, 0.18), x.u(2.0, 5.0), x.u(0.0, 0.04))
    return simulate(situation, seed, shape, make(x), sky)


def credible(flight: Flight) -> bool:
    """Motion an aircraft could have: rates, loads, speed and sideslip sober, long enough, spins that sink as spins do."""
    c = flight.columns
    if flight.time_s[-1] < 10.0 or not all(np.isfinite(v).all() for v in c.values()):
        return False
    rates = [np.abs(c[f"{n}_rate_dps"]).max() for n in ("roll", "pitch", "yaw")]
    if rates[0] > 400.0 or rates[1] > 200.0 or rates[2] > 300.0:
        return False
    if c["normal_load_g"].max() > 9.0 or c["normal_load_g"].min() < -6.0 or flight.truth["fastest"] > 4.5:
        return False
    fast = c["calibrated_airspeed_kt"] > 40.0
    if np.percentile(np.abs(c["beta_deg"][fast]), 99) > 40.0:
        return False
    return all(_sober(s) for s in flight.truth["spins"])


def _sober(s: dict[str, Any]) -> bool:
    settled = s["settled"]
    turns = s["turns"].get("start_to_spinend", {"about_vertical": 9.0})["about_vertical"]
    return bool(settled["sink_fps"] < 450.0 and (turns < 2.0 or 1.0 < settled["s_per_turn"] < 8.0))


def found(first_seed: int, per_situation: int = PER_SITUATION) -> list[tuple[str, int]]:
    """(situation, seed) of the first credible draws from `first_seed` on, situation by situation; flown now."""
    out: list[tuple[str, int]] = []
    for name in SITUATIONS:
        seeds = (s for s in range(first_seed, first_seed + TRIED) if credible(build(name, s)))
        out += [(name, seed) for _, seed in zip(range(per_situation), seeds, strict=False)]
    return out


def entries() -> list[tuple[str, int]]:
    """(situation, seed) of the benchmark's flights: `catalogue.txt`, written by `python -m tests.truth.rotary.flights`."""
    return listed(FILE)


if __name__ == "__main__":
    chosen = found(0)
    FILE.write_text("".join(f"{n}: {' '.join(str(s) for m, s in chosen if m == n)}\n" for n in SITUATIONS))
