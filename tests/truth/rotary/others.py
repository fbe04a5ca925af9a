"""Cards not meant to spin: what training, display and combat flying has that rotates, stalls, sinks or shakes."""

from __future__ import annotations

import math
from collections.abc import Callable

from tests.truth.rotary import card as c
from tests.truth.rotary.card import Card
from tests.truth.rotary.draw import Draw


def spiral_dive(x: Draw) -> Card:
    """Nose drops in a steep bank, speed rises."""
    card = x.begun().then(
        (c.TURNS, x.u(1.0, 3.5)),
        30.0,
        lon=(c.PITCH, -x.u(0.25, 0.7)),
        lat=(c.BANK, x.u(0.9, 1.25) * x.d),
        throttle=x.u(0.0, 0.4),
    )
    return x.away(card)


def tight_spiral(x: Draw) -> Card:
    """Round and down just under the stall, ball more or less in the middle."""
    pedal = (c.BALL, 0.0) if x.coin() else (c.POSITION, x.u(0.0, 0.3) * x.d)
    card = x.slow(x.begun(), to=0.8).then(
        (c.TURNS, x.u(2.0, 5.0)), 40.0, lon=(c.ALPHA, x.u(0.8, 0.95) * x.stall), lat=(c.BANK, x.u(0.8, 1.2) * x.d), yaw=pedal,
        throttle=0.0, cap=2.0,
    )  # fmt: skip
    return x.away(card)


def inverted_spiral(x: Draw) -> Card:
    """Round and down hanging in the straps."""
    card = x.begun().roll_over(x.d).then((c.TIME, 2.0), lon=(c.CLIMB, 0.0), lat=(c.BANK, math.pi), throttle=0.7)
    card.then(
        (c.TURNS, x.u(1.0, 2.5)),
        25.0,
        lon=(c.LOAD, -x.u(1.0, 1.8)),
        lat=(c.BANK, (math.pi - x.u(0.4, 0.9)) * x.d),
        throttle=0.4,
    )
    return x.away(card.then((c.TIME, 3.0), lon=(c.LOAD, 0.5), lat=(c.LEVEL, 0.0)))


def _rolls(x: Draw, card: Card, load: float, turns: float, rate: float, throttle: float, feet: float = 0.0) -> Card:
    yaw = (c.BALL, 0.0) if feet == 0.0 else (c.POSITION, feet)
    return card.then(
        (c.ROLLED, 2 * math.pi * turns),
        14.0,
        lon=(c.LOAD, load),
        lat=(c.ROLL_RATE, rate * x.d),
        yaw=yaw,
        throttle=throttle,
    )


def aileron_rolls(x: Draw) -> Card:
    """Level or nearly so, some with a foot in."""
    card = x.begun().then((c.PITCH_ABOVE, 0.3), 4.0, lon=(c.LOAD, 2.0), throttle=1.0)
    return x.away(
        _rolls(x, card, x.u(0.2, 1.1), x.u(1.0, 3.0), x.u(1.4, 3.5), 1.0, x.u(-0.3, 0.3) if x.coin() else 0.0)
    )


def barrel_rolls(x: Draw) -> Card:
    """Pull and roll together."""
    card = x.begun().then((c.PITCH_ABOVE, 0.45), 4.0, lon=(c.LOAD, 2.6), throttle=1.0)
    return x.away(_rolls(x, card, x.u(1.3, 2.2), x.u(1.0, 2.0), x.u(0.8, 1.5), 1.0))


def rolls_going_up(x: Draw) -> Card:
    """On a line of 45 deg or straight up."""
    to = x.u(0.7, 1.3)
    card = x.begun(1.5, 1.0).then((c.PITCH_ABOVE, to), 8.0, lon=(c.LOAD, 3.6), lat=(c.ROLL_RATE, 0.0), throttle=1.0)
    _rolls(x, card, 0.1, x.u(0.5, 2.0), x.u(1.5, 3.5), 1.0)
    card.then((c.PITCH_BELOW, -0.2), 7.0, lon=(c.LOAD, 0.3), lat=(c.ROLL_RATE, 0.0), throttle=0.5)
    return x.away(card)


def rolls_going_down(x: Draw) -> Card:
    """In a dive of 30 to 90 deg, some with load, some with a foot in."""
    dive = x.u(0.5, 1.5)
    card = x.begun(2.0, 0.3).then((c.PITCH_BELOW, -dive + 0.1), 9.0, lon=(c.PITCH, -dive), throttle=0.0)
    _rolls(x, card, x.u(-0.3, 1.5), x.u(1.0, 3.0), x.u(1.2, 3.5), 0.0, x.u(-0.5, 0.5) if x.coin() else 0.0)
    return x.away(card, 3.2)


def _snap(x: Draw, card: Card, rolled: float, side: float = 1.0, d: int = 0, throttle: float = 0.7) -> Card:
    d = d or x.d
    card.put(
        (c.ROLLED, rolled),
        4.0,
        aft=side * x.u(0.8, 1.0),
        pedal=d,
        right=x.u(0.0, 0.5) * d,
        throttle=throttle,
        ramp_s=0.12,
    )
    card.put((c.TIME, x.u(0.2, 0.45)), aft=-0.2 * side, pedal=-0.8 * d, throttle=throttle, ramp_s=0.1, late_s=0.0)
    return card.put((c.TIME, x.u(0.2, 0.6)), throttle=throttle, ramp_s=0.15, late_s=0.0)


def snap_roll(x: Draw) -> Card:
    """One, from level flight."""
    return x.away(_snap(x, x.begun(2.0, 0.7), x.u(4.4, 5.6)))


def double_snap(x: Draw) -> Card:
    """Two turns without a pause, or one each way."""
    if x.coin():
        return x.away(_snap(x, x.begun(2.0, 0.8), x.u(10.0, 12.0)))
    return x.away(_snap(x, _snap(x, x.begun(2.0, 0.8), x.u(4.4, 5.6)), x.u(4.4, 5.6), d=-x.d))


def inverted_snap(x: Draw) -> Card:
    """Pushed."""
    card = x.begun(2.0, 0.8).roll_over(x.d).then((c.TIME, 1.0), lon=(c.CLIMB, 1.0), lat=(c.BANK, math.pi), throttle=0.9)
    return x.away(_snap(x, card, x.u(4.2, 5.6), side=-1.0))


def snap_going_up(x: Draw) -> Card:
    """On a rising line of 45 deg, or straight up."""
    card = x.begun(1.5, 1.0).then(
        (c.PITCH_ABOVE, x.u(0.7, 1.3)), 8.0, lon=(c.LOAD, 3.4), lat=(c.ROLL_RATE, 0.0), throttle=1.0
    )
    return x.away(_snap(x, card, x.u(4.4, 8.0)))


def snap_going_down(x: Draw) -> Card:
    """On a falling line of 45 deg: some of these nobody can call."""
    card = x.begun(1.5, 0.4).then((c.PITCH_BELOW, -x.u(0.6, 0.9)), 6.0, lon=(c.PITCH, -0.8), throttle=0.0)
    return x.away(_snap(x, card, x.u(4.4, 5.8), throttle=0.2), 3.2)


def falling_leaf(x: Draw) -> Card:
    """Held stalled while the feet keep it from spinning, more or less."""
    card = x.slow(x.begun())
    card.put(
        (c.TIME, x.u(8.0, 16.0)),
        aft=x.u(0.5, 0.85),
        period_s=x.u(1.6, 3.5),
        swing=(0.0, 0.0, x.u(0.3, 0.9) * x.d),
        ramp_s=1.0,
    )
    card.put((c.TIME, 1.2), aft=-0.3, ramp_s=0.3)
    return x.away(card)


def loops(x: Draw) -> Card:
    """One or two, some pulled into the buffet at the top."""
    card = x.begun(1.5, 1.0)
    for _ in range(1 + x.coin()):
        load = x.u(3.0, 4.2)
        card.then((c.PITCH_ABOVE, 1.2), 7.0, lon=(c.LOAD, load), lat=(c.ROLL_RATE, 0.0), throttle=1.0)
        top = 1.05 if x.coin(0.3) else 0.85
        card.then(
            (c.PITCH_BELOW, -0.3),
            9.0,
            lon=(c.LOAD, load * 0.7),
            lat=(c.ROLL_RATE, 0.0),
            throttle=0.8,
            cap=top * x.stall,
        )
        card.then((c.PITCH_ABOVE, 0.1), 8.0, lon=(c.LOAD, load), lat=(c.ROLL_RATE, 0.0), throttle=1.0)
    return card.cruise(4.0)


def half_loop_and_roll(x: Draw) -> Card:
    """Up and over, rolled upright at the top with little speed."""
    card = x.begun(1.5, 1.0).then((c.PITCH_ABOVE, 1.2), 7.0, lon=(c.LOAD, 3.4), lat=(c.ROLL_RATE, 0.0), throttle=1.0)
    card.then((c.PITCH_BELOW, 0.25), 8.0, lon=(c.LOAD, 2.2), lat=(c.ROLL_RATE, 0.0), throttle=1.0)
    card.then(
        (c.ROLLED, 2.9),
        4.0,
        lon=(c.LOAD, 0.3),
        lat=(c.ROLL_RATE, x.u(1.2, 2.5) * x.d),
        yaw=(c.POSITION, 0.3 * x.d),
        throttle=1.0,
    )
    return x.away(card)


def half_roll_pull_through(x: Draw) -> Card:
    """Rolled inverted and pulled through."""
    card = x.begun(2.0, 0.3).then((c.ROLLED, 2.9), 4.0, lon=(c.LOAD, 0.6), lat=(c.ROLL_RATE, 2.2 * x.d), throttle=0.2)
    card.then((c.PITCH_BELOW, -1.2), 7.0, lon=(c.LOAD, 2.4), lat=(c.ROLL_RATE, 0.0), throttle=0.0)
    return x.away(card, 3.2)


def _vertical(x: Draw, throttle: float = 1.0) -> Card:
    return x.begun(1.5, 1.0).then(
        (c.PITCH_ABOVE, 1.3), 8.0, lon=(c.LOAD, 3.6), lat=(c.ROLL_RATE, 0.0), throttle=throttle
    )


def tail_slide(x: Draw) -> Card:
    """Straight up until it slides back."""
    card = _vertical(x).then((c.SPEED_BELOW, 12.0), 9.0, lon=(c.LOAD, 0.0), lat=(c.ROLL_RATE, 0.0), throttle=0.2)
    card.put((c.PITCH_BELOW, -0.8), 12.0, aft=x.u(-0.6, 0.6), pedal=x.u(-0.1, 0.1))
    return x.away(card, 3.0)


def hammerhead(x: Draw) -> Card:
    """Straight up and turned over a wing tip."""
    card = _vertical(x).then(
        (c.SPEED_BELOW, x.u(14.0, 24.0)), 9.0, lon=(c.LOAD, 0.0), lat=(c.ROLL_RATE, 0.0), throttle=0.6
    )
    card.put((c.PITCH_BELOW, -0.9), 6.0, pedal=x.d, right=-x.u(0.0, 0.4) * x.d, aft=x.u(-0.2, 0.1), throttle=0.3)
    return x.away(card, 3.0)


def wing_drop_caught(x: Draw) -> Card:
    """Stalled, a wing goes, stick forward and pedal at once."""
    kick = x.u(0.0, 0.5)
    card = x.slow(x.begun(), throttle=x.u(0.0, 0.5), to=1.02)
    card.put((c.TIME, x.u(0.3, 1.2)), aft=x.u(0.7, 1.0), pedal=kick * x.d, ramp_s=0.4)
    card.put((c.TIME, x.u(0.5, 1.0)), aft=-0.4, pedal=-x.u(0.2, 0.8) * x.d, throttle=0.7, ramp_s=0.2, late_s=0.0)
    return x.away(card.put((c.TIME, 0.6), throttle=0.7))


def mushing(x: Draw) -> Card:
    """Held in the stall, stick fully back, wallowing; ailerons chase the wings."""
    card = x.slow(x.begun())
    card.then(
        (c.TIME, x.u(6.0, 14.0)), lon=(c.POSITION, x.u(0.4, 1.0)), lat=(c.BANK, 0.0), yaw=(c.BALL, 0.0), throttle=x.u(0.0, 0.5),
        ramp_s=1.5,
    )  # fmt: skip
    return x.away(card.put((c.TIME, 1.0), aft=-0.3, throttle=0.6))


def gyration(x: Draw) -> Card:
    """Departs from a hard turn, controls centred at once: it sorts itself out."""
    bank = x.u(0.9, 1.2) * x.d
    card = x.begun().then((c.TIME, 2.0), lon=(c.CLIMB, 0.0), lat=(c.BANK, bank), throttle=0.9)
    card.put((c.TIME, x.u(0.4, 1.0)), aft=1.0, pedal=x.u(-1.0, 1.0), right=x.u(-1.0, 1.0), throttle=0.5, ramp_s=0.2)
    card.put((c.TIME, x.u(2.0, 4.0)), ramp_s=0.15, late_s=0.0)
    return x.away(card)


def combat(x: Draw) -> Card:
    """Hard turns, reversals, unloaded rolls, nose up and down, one after the other."""
    card = x.begun(1.5, 1.0)
    for _ in range(int(x.rng.integers(6, 12))):
        load = x.u(0.0, 6.0) if x.coin(0.7) else x.u(-1.0, 0.5)
        roll = x.u(-2.5, 2.5) if x.coin(0.6) else 0.0
        card.then(
            (c.TIME, x.u(0.6, 3.0)), lon=(c.LOAD, load), lat=(c.ROLL_RATE, roll), throttle=1.0, cap=x.u(0.85, 1.05) * x.stall,
            yaw=(c.BALL, 0.0) if x.coin(0.8) else (c.POSITION, x.u(-0.5, 0.5)), late_s=0.0,
        )  # fmt: skip
    return x.away(card.then((c.TIME, 2.0), lon=(c.LOAD, 0.7), lat=(c.LEVEL, 0.0)), 3.0)


def velocity_rolls(x: Draw) -> Card:
    """Rolled about the velocity close under the stall, pedals carrying the nose round."""
    card = x.slow(x.begun(), to=0.75, throttle=0.4)
    card.then(
        (c.ROLLED, x.u(4.0, 12.0)), 14.0, lon=(c.ALPHA, x.u(0.75, 0.95) * x.stall), lat=(c.ROLL_RATE, x.u(0.7, 1.6) * x.d),
        yaw=(c.BALL, 0.0), throttle=0.6, cap=2.0,
    )  # fmt: skip
    return x.away(card)


def wind_up_turn(x: Draw) -> Card:
    """Tighter and tighter through the buffet, let go at the break."""
    bank = x.u(1.0, 1.3) * x.d
    card = x.begun().then((c.TIME, 2.0), lon=(c.CLIMB, -5.0), lat=(c.BANK, bank), throttle=1.0)
    card.then(
        (c.TIME, x.u(4.0, 10.0)), lon=(c.ALPHA, x.u(0.95, 1.1) * x.stall), lat=(c.BANK, bank), throttle=1.0, cap=2.0
    )
    return x.away(card.put((c.TIME, 0.7), throttle=0.8))


def join_up(x: Draw) -> Card:
    """Many small bank changes, throttle work, a crossing under."""
    card = x.begun(2.0)
    for _ in range(8):
        card.then(
            (c.TIME, x.u(1.0, 4.0)),
            lon=(c.CLIMB, x.u(-4.0, 4.0)),
            lat=(c.BANK, x.u(-0.7, 0.7)),
            throttle=x.u(0.2, 0.9),
            late_s=0.0,
        )
    return card.cruise(3.0, pitch=x.level)


def sideslips(x: Draw) -> Card:
    """Full pedal, opposite stick, nose held: sinking sideways, then the other way."""
    card = x.slow(x.begun(), to=0.6)
    for d in (x.d, -x.d):
        card.then(
            (c.TIME, x.u(4.0, 9.0)), lon=(c.PITCH, x.u(-0.1, 0.08)), lat=(c.BANK, x.u(0.1, 0.4) * d),
            yaw=(c.POSITION, -x.u(0.5, 1.0) * d), throttle=0.0,
        )  # fmt: skip
    return x.away(card, 1.6)


def pattern(x: Draw) -> Card:
    """Turns, a slow descent, a flare held off, power and away."""
    card = x.begun(2.0, 0.9).then((c.TURNS, 0.25), 20.0, lon=(c.CLIMB, 3.0), lat=(c.BANK, 0.4 * x.d), throttle=0.9)
    card.cruise(3.0, pitch=x.level)
    card.then((c.TURNS, 0.5), 30.0, lon=(c.CLIMB, -3.0), lat=(c.BANK, x.u(0.4, 0.7) * x.d), throttle=0.2)
    x.slow(card, to=0.97, sink=1.0)
    return card.then((c.TIME, 8.0), lon=(c.PITCH, 0.1), throttle=1.0)


def slow_in_rough_air(x: Draw) -> Card:
    """Slow flight and turns close above the stall while gusts work on it."""
    card = x.slow(x.begun(), to=0.8, throttle=0.3)
    for _ in range(4):
        card.then(
            (c.TIME, x.u(3.0, 6.0)),
            lon=(c.ALPHA, x.u(0.75, 0.93) * x.stall),
            lat=(c.BANK, x.u(-0.5, 0.5)),
            throttle=0.5,
            cap=2.0,
        )
    return x.away(card, 1.8)


def wing_overs(x: Draw) -> Card:
    """Lazy swings up, over and down, to both sides."""
    card = x.begun(2.0, 0.9)
    for d in (x.d, -x.d):
        card.then((c.PITCH_ABOVE, 0.55), 6.0, lon=(c.LOAD, 2.0), lat=(c.ROLL_RATE, 0.15 * d), throttle=0.9)
        card.then((c.PITCH_BELOW, -0.35), 9.0, lon=(c.LOAD, 0.9), lat=(c.BANK, x.u(1.0, 1.5) * d), throttle=0.7)
        card.then((c.PITCH_ABOVE, 0.0), 8.0, lon=(c.LOAD, 2.2), lat=(c.LEVEL, 0.0), throttle=0.8)
    return card.cruise(3.0, pitch=x.level)


OTHERS: dict[str, tuple[Callable[[Draw], Card], float]] = {
    "spiral dive": (spiral_dive, 1.5), "tight spiral": (tight_spiral, 1.4), "inverted spiral": (inverted_spiral, 1.9),
    "aileron rolls": (aileron_rolls, 2.1), "barrel rolls": (barrel_rolls, 2.3), "rolls going up": (rolls_going_up, 2.8),
    "rolls going down": (rolls_going_down, 1.5), "snap roll": (snap_roll, 1.6), "double snap": (double_snap, 1.8),
    "inverted snap": (inverted_snap, 1.8), "snap going up": (snap_going_up, 2.5), "snap going down": (snap_going_down, 1.5),
    "falling leaf": (falling_leaf, 1.35), "loops": (loops, 2.8), "half loop and roll": (half_loop_and_roll, 2.8),
    "half roll pull-through": (half_roll_pull_through, 1.5), "tail slide": (tail_slide, 2.6), "hammerhead": (hammerhead, 2.6),
    "wing drop caught": (wing_drop_caught, 1.35), "mushing": (mushing, 1.35), "gyration": (gyration, 1.8),
    "combat": (combat, 2.6), "velocity rolls": (velocity_rolls, 1.5), "wind-up turn": (wind_up_turn, 2.2),
    "join-up": (join_up, 1.8), "sideslips": (sideslips, 1.5), "pattern": (pattern, 1.5),
    "slow in rough air": (slow_in_rough_air, 1.4), "wing-overs": (wing_overs, 2.1),
}  # fmt: skip
