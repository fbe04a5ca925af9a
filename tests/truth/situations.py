"""Named situations: a random aircraft of the family, entry, controls and weather for each, and what must come out.

`build(name, seed)` flies one; `credible` says whether the result is what the name promises and physically sober
(the aircraft decides what it does, so some draws end otherwise and are not used).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from tests.truth import manoeuvres_other as other
from tests.truth import manoeuvres_spin as spin
from tests.truth.airframe import FAMILY, Airframe, scaled, vary
from tests.truth.flight import Flight, simulate
from tests.truth.pilot import Script

Draw = tuple[Airframe, Script, dict[str, Any]]
Rng = np.random.Generator
Maker = Callable[[Rng, int], Draw]


def _frame(rng: Rng, *names: str) -> Airframe:
    base = scaled(FAMILY[str(rng.choice(names))], float(rng.uniform(0.9, 1.7)))
    return vary(base, rng)


def _uniform(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _plain(rng: Rng, d: int, frame: Airframe, turns: float, **kw: Any) -> Draw:
    kw.setdefault("style", int(rng.choice([0, 0, 1, 2])))
    kw.setdefault("delay", _uniform(rng, 0.1, 1.2))
    kw.setdefault("forward", _uniform(rng, -0.7, -0.1))
    kw.setdefault("load", _uniform(rng, 2.2, 3.4))
    return frame, spin.plain(d, turns, **kw), {"height": 6500.0}


def _three(rng: Rng, d: int) -> Draw:
    turns = [_uniform(rng, 1.0, 3.0) for _ in range(3)]
    return _frame(rng, "swift", "tern", "ibis"), spin.several([d, -d, d], turns), {"height": 6000.0, "longest": 300.0}


SPINS: dict[str, tuple[int, Maker]] = {
    "half turn": (1, lambda r, d: _plain(r, d, _frame(r, "tern", "swift", "ibis"), _uniform(r, 0.42, 0.8), style=0)),
    "one turn": (1, lambda r, d: _plain(r, d, _frame(r, "tern", "swift", "ibis", "heron"), _uniform(r, 0.9, 1.6))),
    "developed": (1, lambda r, d: _plain(r, d, _frame(r, "tern", "swift", "ibis"), _uniform(r, 2.0, 8.0))),
    "flat": (1, lambda r, d: _plain(r, d, _frame(r, "heron", "crane"), _uniform(r, 3.0, 7.0), style=0)),
    "oscillatory": (1, lambda r, d: _plain(r, d, _frame(r, "plover"), _uniform(r, 3.0, 6.0), style=0)),
    "swinging ailerons": (
        1,
        lambda r, d: (_frame(r, "tern", "swift", "heron"), spin.switching_ailerons(d, 5.0, _uniform(r, 0.15, 0.5)),
                      {"height": 6000.0}),
    ),
    "inverted": (
        1,
        lambda r, d: _plain(r, d, _frame(r, "swift", "ibis"), _uniform(r, 1.0, 4.0), inverted=True,
                            forward=_uniform(r, -0.6, 0.0)),
    ),
    "overcontrol": (
        2,
        lambda r, d: (_frame(r, "swift", "ibis"),
                      spin.overcontrol(d, _uniform(r, 2.0, 4.0), push=_uniform(r, -1.0, -0.8),
                                       held_s=_uniform(r, 3.0, 7.0), inverted_turns=_uniform(r, 1.0, 2.0)),
                      {"height": 6000.0}),
    ),
    "reversal": (
        2,
        lambda r, d: (_frame(r, "swift", "ibis", "tern"),
                      spin.reversal(d, _uniform(r, 1.5, 3.0), back_turns=_uniform(r, 1.0, 2.0),
                                    after=_uniform(r, 0.3, 1.0), help_roll=_uniform(r, 0.0, 0.6)),
                      {"height": 6000.0}),
    ),
    "again": (
        2,
        lambda r, d: (_frame(r, "swift", "ibis", "tern"),
                      spin.again(d, _uniform(r, 1.0, 3.0), wait_s=_uniform(r, 0.5, 1.5), more=_uniform(r, 1.0, 2.0)),
                      {"height": 6000.0}),
    ),
    "against the pedal": (
        1,
        lambda r, d: (_frame(r, "crane", "heron", "plover"),
                      spin.against_the_pedal(d, _uniform(r, 2.5, 4.0), _uniform(r, 0.8, 1.6)), {"height": 6500.0}),
    ),
    "power on": (
        1,
        lambda r, d: _plain(r, d, _frame(r, "tern", "swift", "ibis"), _uniform(r, 2.0, 5.0),
                            throttle=_uniform(r, 0.35, 0.8)),
    ),
    "flattening": (
        1,
        lambda r, d: (_frame(r, "heron", "crane", "plover"),
                      spin.flattening(d, _uniform(r, 5.0, 7.0), _uniform(r, -0.5, -0.1)), {"height": 7000.0}),
    ),
    "ailerons with": (
        1,
        lambda r, d: _plain(r, d, _frame(r, "tern", "swift", "heron"), _uniform(r, 2.0, 5.0),
                            aileron=_uniform(r, 0.2, 0.6)),
    ),
    "out of a turn": (
        1,
        lambda r, d: (_frame(r, "tern", "swift", "ibis"), spin.accelerated(d, _uniform(r, 2.0, 4.0)),
                      {"height": 6000.0, "speed": 1.6}),
    ),
    "three spins": (3, _three),
    "not recovered": (
        1,
        lambda r, d: (_frame(r, "heron", "crane", "tern"), spin.not_recovered(d, _uniform(r, 4.0, 9.0)),
                      {"height": 6500.0}),
    ),
}  # fmt: skip

Plain = Callable[[Rng, int], Script]
FAST = {"aileron rolls": 2.3, "barrel roll": 2.5, "vertical up rolls": 2.9, "loops": 2.9, "wing-over": 2.4}
FAST |= {"spiral": 1.8, "inverted spiral": 1.8, "steep turn": 2.1, "snap roll": 1.55, "inverted snap": 1.7}
FAST |= {"inverted snaps": 1.7, "tail slide": 2.6, "vertical down rolls": 1.5, "half roll pull-through": 1.6}
OTHERS: dict[str, Plain] = {
    "spiral": lambda r, d: other.spiral(d, _uniform(r, 0.8, 1.25), _uniform(r, -0.6, -0.2), _uniform(r, 1.5, 4.0)),
    "inverted spiral": lambda r, d: other.inverted_spiral(d, _uniform(r, 2.0, 2.6), _uniform(r, 1.5, 3.0)),
    "steep turn": lambda r, d: other.steep_turn(d, _uniform(r, 0.8, 1.1), _uniform(r, 1.0, 2.0)),
    "aileron rolls": lambda r, d: other.aileron_rolls(
        d, _uniform(r, 1.0, 4.0), _uniform(r, 0.5, 1.2), _uniform(r, 1.4, 3.2)
    ),
    "barrel roll": lambda r, d: other.barrel_roll(
        d, _uniform(r, 1.3, 2.2), _uniform(r, 0.7, 1.4), float(r.integers(1, 3))
    ),
    "vertical down rolls": lambda r, d: other.vertical_down_rolls(d, _uniform(r, 1.5, 4.0), _uniform(r, 2.0, 4.5)),
    "vertical up rolls": lambda r, d: other.vertical_up_rolls(d, _uniform(r, 1.0, 2.0), _uniform(r, 2.0, 4.0)),
    "loops": lambda r, d: other.loops(int(r.integers(1, 4)), _uniform(r, 2.9, 3.6)),
    "half roll pull-through": lambda r, d: other.half_roll_pull_through(d),
    "snap roll": lambda r, d: other.snap_roll(d, _uniform(r, 4.4, 5.6)),
    "inverted snap": lambda r, d: other.snap_roll(d, _uniform(r, 4.2, 5.4), True),
    "inverted snaps": lambda r, d: other.inverted_snaps(d, int(r.integers(2, 4))),
    "falling leaf": lambda r, d: other.falling_leaf(
        _uniform(r, 1.6, 2.6), _uniform(r, 0.25, 0.6), _uniform(r, 8.0, 16.0)
    ),
    "stall": lambda r, d: other.stall(d, _uniform(r, 0.0, 0.4), _uniform(r, 0.0, 0.7)),
    "wing-over": lambda r, d: other.wing_over(d, _uniform(r, 1.1, 1.7)),
    "tail slide": lambda r, d: other.tail_slide(_uniform(r, 0.0, 0.2)),
}


def build(situation: str, seed: int) -> Flight:
    """Fly one draw of a situation."""
    names = [*SPINS, *OTHERS]
    rng = np.random.default_rng([seed, names.index(situation)])
    d = int(rng.choice([-1, 1]))
    if situation in SPINS:
        frame, script, options = SPINS[situation][1](rng, d)
    else:
        snapping = ("swift", "ibis") if "snap" in situation else ("tern", "swift", "heron")
        frame = _frame(rng, *snapping)
        script = OTHERS[situation](rng, d)
        options = {"height": 3500.0, "speed": FAST.get(situation, 1.3)}
    gust = float(rng.choice([0.0, 0.5, 1.2, 2.0]))
    height = float(options.get("height", 6000.0)) * _uniform(rng, 0.9, 1.15)
    stall_speed = math.sqrt(2 * frame.mass_kg * 9.8 / (1.2 * frame.wing_area_m2 * 1.25 * math.exp(-height / 10000.0)))
    return simulate(
        f"{situation.replace(' ', '_')}-{seed}", situation, frame, script, seed=seed, height_m=height,
        speed_mps=stall_speed * float(options.get("speed", 1.3)),
        gust_mps=gust, longest_s=float(options.get("longest", 150.0)),
    )  # fmt: skip


def credible(flight: Flight) -> bool:
    """Whether the flight is what its situation promises; decided from the truth alone, never from a detector."""
    truth = flight.truth
    spins = truth["spins"]
    if flight.situation in OTHERS:
        return not spins and truth["segments_flown"] == truth["segments"]
    wanted = SPINS[flight.situation][0]
    if len(spins) != wanted or not all(_sober(s) for s in spins):
        return False
    if flight.situation == "not recovered":
        return spins[0]["spin_end_s"] is None
    if truth["segments_flown"] != truth["segments"] or spins[-1]["level_s"] is None:
        return False
    return _as_promised(flight.situation, spins)


def _sober(s: dict[str, Any]) -> bool:
    settled = s["settled"]
    turns = s["turns"].get("start_to_spinend", {"about_vertical": 9.0})["about_vertical"]
    slow = settled["s_per_turn"] > 5.5 and turns > 2.0
    recovery = s["turns"].get("rec_to_spinend", {"about_vertical": 0.0})["about_vertical"]
    return not slow and settled["sink_fps"] < 420.0 and recovery < 5.0


def _as_promised(situation: str, spins: list[dict[str, Any]]) -> bool:
    first, last = spins[0], spins[-1]
    if situation == "overcontrol":
        return bool(first["orientation"] == "upright" and last["orientation"] == "inverted")
    if situation == "reversal":
        return bool(first["direction"] != last["direction"] and last["orientation"] == "upright")
    if situation == "again":
        return bool(first["direction"] == last["direction"] and last["orientation"] == "upright")
    if situation == "inverted":
        return bool(first["orientation"] == "inverted")
    return True
