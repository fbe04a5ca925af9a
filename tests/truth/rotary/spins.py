"""Cards meant to spin, or that may: the entries, handling and recoveries of hurried, clumsy and deliberate pilots."""

from __future__ import annotations

import math
from collections.abc import Callable

from tests.truth.rotary import card as c
from tests.truth.rotary.card import Card
from tests.truth.rotary.draw import Draw


def slow_entry(x: Draw) -> Card:
    """Level, idle, full controls over a second or two at the stall."""
    return x.finish(x.spin(x.slow(x.begun()), x.u(1.5, 6.0), ramp_s=x.u(0.5, 2.5)))


def abrupt_entry(x: Draw) -> Card:
    """Kicked and pulled at once, well over the stalling speed."""
    return x.finish(x.spin(x.begun(throttle=0.3), x.u(1.0, 4.0), ramp_s=x.u(0.05, 0.2)))


def accelerated_entry(x: Draw) -> Card:
    """Pulled out of a steep turn, pedal into it or over the top."""
    bank = x.u(0.8, 1.15) * x.d
    card = x.begun().then((c.TIME, x.u(2.0, 5.0)), lon=(c.CLIMB, 0.0), lat=(c.BANK, bank), throttle=0.8)
    card.then((c.ALPHA_ABOVE, 0.95 * x.stall), 8.0, lon=(c.LOAD, 4.0), lat=(c.BANK, bank), throttle=0.2, cap=2.0)
    d = x.d if x.coin(0.7) else -x.d
    return x.finish(x.spin(card, x.u(1.0, 4.0), d=d, ramp_s=0.15), d=d)


def climbing_turn(x: Draw) -> Card:
    """Out of a slow climbing turn with the power on, pedal against the turn or with it."""
    card = x.begun(throttle=0.9)
    card.then(
        (c.ALPHA_ABOVE, 0.97 * x.stall), 25.0, lon=(c.PITCH, x.u(0.3, 0.5)), lat=(c.BANK, x.u(0.2, 0.5) * x.d),
        throttle=x.u(0.0, 0.6), cap=2.0,
    )  # fmt: skip
    d = x.d if x.coin() else -x.d
    return x.finish(x.spin(card, x.u(0.8, 4.0), d=d, throttle=x.u(0.0, 0.4)), d=d)


def out_of_a_climb(x: Draw) -> Card:
    """Nose 25 to 50 deg up, pedal as the speed goes."""
    card = x.begun(throttle=0.8).then(
        (c.ALPHA_ABOVE, x.u(0.7, 0.95) * x.stall), 14.0, lon=(c.PITCH, x.u(0.45, 0.9)), throttle=0.1, cap=2.0
    )
    return x.finish(x.spin(card, x.u(1.0, 5.0)))


def inverted(x: Draw) -> Card:
    """From level inverted flight."""
    card = x.slow_inverted(x.begun())
    return x.finish(x.spin(card, x.u(1.0, 5.0), side=-1.0, ramp_s=x.u(0.2, 1.2)), side=-1.0)


def inverted_from_a_loop(x: Draw) -> Card:
    """Pushed off the top of half a loop with pedal."""
    card = _up(x, 1.9, 2.5).put((c.TIME, 0.4), throttle=0.0)
    return x.finish(x.spin(card, x.u(0.8, 3.0), side=-1.0), side=-1.0)


def _up(x: Draw, load: float, to: float, throttle: float = 1.0) -> Card:
    """Pulled up towards the vertical or past it (to > pi / 2: until upside down)."""
    card = x.begun(1.5, throttle=1.0)
    card.then((c.PITCH_ABOVE, min(to, 1.25)), 8.0, lon=(c.LOAD, load + 1.2), lat=(c.ROLL_RATE, 0.0), throttle=throttle)
    if to > math.pi / 2:
        card.then((c.PITCH_BELOW, 0.5), 7.0, lon=(c.LOAD, load), lat=(c.ROLL_RATE, 0.0), throttle=throttle)
    return card


def out_of_a_hammerhead(x: Draw) -> Card:
    """Vertical, pedal as the speed goes, and the stick comes back (or goes forward) in the turn."""
    card = _up(x, 2.5, 1.25).then(
        (c.SPEED_BELOW, x.u(16.0, 26.0)), 9.0, lon=(c.LOAD, 0.0), lat=(c.ROLL_RATE, 0.0), throttle=0.3
    )
    card.put((c.TIME, x.u(0.6, 1.5)), pedal=x.d, throttle=0.2, what=c.PRO_SPIN)
    side = 1.0 if x.coin(0.7) else -1.0
    return x.finish(x.spin(card, x.u(0.8, 3.0), side=side, longest_s=14.0), side=side)


def out_of_a_tail_slide(x: Draw) -> Card:
    """Slid back with pedal held."""
    card = _up(x, 2.5, 1.25, 0.7).then((c.SPEED_BELOW, 14.0), 9.0, lon=(c.LOAD, 0.0), lat=(c.ROLL_RATE, 0.0))
    card.put((c.PITCH_BELOW, 0.2), 8.0, aft=0.3, pedal=0.4 * x.d)
    return x.finish(x.spin(card, x.u(0.8, 3.0), longest_s=14.0))


def skidded_turn(x: Draw) -> Card:
    """Too much inside pedal, outside stick, nose held up: under and over it goes."""
    card = x.begun().then((c.TIME, x.u(2.0, 4.0)), lon=(c.CLIMB, -1.0), lat=(c.BANK, 0.45 * x.d), throttle=0.2)
    card.then(
        (c.TURNS, x.u(0.8, 2.0)), 18.0, lon=(c.CLIMB, 0.0), lat=(c.BANK, x.u(0.3, 0.6) * x.d), yaw=(c.POSITION, x.u(0.6, 1.0) * x.d),
        throttle=0.0, cap=2.0, what=c.PRO_SPIN,
    )  # fmt: skip
    return x.finish(x.spin(card, x.u(0.3, 1.0), longest_s=6.0, aileron=-0.5))


def slipped_turn(x: Draw) -> Card:
    """Top pedal and stick back: over the top."""
    card = x.begun().then((c.TIME, 3.0), lon=(c.CLIMB, 0.0), lat=(c.BANK, 0.7 * x.d), throttle=0.3)
    card.then(
        (c.ALPHA_ABOVE, x.stall),
        14.0,
        lon=(c.CLIMB, 0.0),
        lat=(c.BANK, 0.6 * x.d),
        yaw=(c.POSITION, -0.7 * x.d),
        throttle=0.0,
        cap=2.0,
    )
    return x.finish(x.spin(card, x.u(0.6, 2.5), d=-x.d), d=-x.d)


def aborted_entry(x: Draw) -> Card:
    """Pro-spin controls, and let go before it has formed."""
    card = x.spin(x.slow(x.begun()), 9.0, longest_s=x.u(0.6, 2.0), ramp_s=0.2)
    card.put((c.TIME, x.u(1.5, 3.0)), aft=x.u(-0.3, 0.0), ramp_s=0.2)
    return x.away(card)


def half_turn(x: Draw) -> Card:
    """Half a turn and out."""
    return x.finish(x.spin(x.slow(x.begun()), x.u(0.35, 0.7)))


def controls_neutral(x: Draw) -> Card:
    """Recovery by centring everything; pedal against if that is not enough."""
    card = x.spin(x.slow(x.begun()), x.u(1.0, 4.0))
    card.put((c.FLYING, 0.75 * x.stall), x.u(4.0, 9.0), ramp_s=x.u(0.2, 1.0), what=c.RECOVERING)
    return x.finish(card)


def hands_off(x: Draw) -> Card:
    """Stick let go and floating a little aft, pedals trailing with the spin, then a recovery."""
    card = x.spin(x.slow(x.begun()), x.u(1.0, 3.0))
    card.put((c.TURNS, x.u(1.0, 3.0)), 12.0, aft=x.u(0.2, 0.6), pedal=x.u(0.1, 0.5) * x.d, ramp_s=0.8)
    return x.finish(card)


def ailerons_against(x: Draw) -> Card:
    """Outspin stick."""
    return x.finish(x.spin(x.slow(x.begun()), x.u(2.0, 6.0), aileron=-x.u(0.4, 1.0)))


def ailerons_with(x: Draw) -> Card:
    """Inspin stick."""
    return x.finish(x.spin(x.slow(x.begun()), x.u(2.0, 6.0), aileron=x.u(0.4, 1.0)))


def slow_recovery(x: Draw) -> Card:
    """Half the pedal, the stick creeping forward over many seconds."""
    card = x.spin(x.slow(x.begun()), x.u(2.0, 4.0))
    card.put(
        (c.FLYING, 0.75 * x.stall),
        25.0,
        aft=x.u(-0.3, 0.2),
        pedal=-x.u(0.1, 0.6) * x.d,
        ramp_s=x.u(3.0, 8.0),
        what=c.RECOVERING,
    )
    return x.finish(card)


def stick_before_pedal(x: Draw) -> Card:
    """Stick forward with the pedal still in: steeper and faster first."""
    card = x.spin(x.slow(x.begun()), x.u(1.5, 3.0))
    card.put((c.TURNS, x.u(0.5, 2.0)), 8.0, aft=x.u(-0.5, 0.3), pedal=x.d, ramp_s=0.4, what=c.RECOVERING)
    return x.finish(card)


def over_control(x: Draw) -> Card:
    """Full forward and full opposite, and held: it may go over into an inverted spin."""
    card = x.spin(x.slow(x.begun()), x.u(1.0, 3.0))
    card.put((c.TIME, x.u(2.5, 7.0)), aft=-1.0, pedal=-x.d, ramp_s=0.2, what=c.RECOVERING)
    return x.finish(card, d=-x.d, side=-1.0)


def reversal(x: Draw) -> Card:
    """Opposite pedal with the stick kept back."""
    card = x.spin(x.slow(x.begun()), x.u(1.0, 3.0))
    card.put(
        (c.TIME, x.u(4.0, 9.0)),
        aft=x.u(0.6, 1.0),
        pedal=-x.d,
        right=-x.u(0.0, 0.7) * x.d,
        ramp_s=0.3,
        what=c.RECOVERING,
    )
    return x.finish(card, d=-x.d)


def again(x: Draw) -> Card:
    """Recovered, and pulled into the next one at once."""
    card = x.recover(x.spin(x.slow(x.begun()), x.u(1.0, 3.0)))
    d = x.d if x.coin() else -x.d
    return x.finish(x.spin(card, x.u(0.8, 2.5), d=d, longest_s=12.0), d=d)


def pulled_too_hard(x: Draw) -> Card:
    """Pull-out into a second stall, pedal still off centre."""
    card = x.recover(x.spin(x.slow(x.begun()), x.u(1.0, 3.0)))
    card.put((c.TIME, x.u(1.0, 3.0)), aft=1.0, pedal=x.u(-0.6, 0.6), throttle=0.3, ramp_s=0.4)
    card.put((c.TIME, 1.5), aft=-0.2, ramp_s=0.3, throttle=0.3)
    return x.away(card)


def power_on(x: Draw) -> Card:
    """Power in the entry and left on."""
    power = x.u(0.4, 1.0)
    return x.finish(x.spin(x.slow(x.begun(), throttle=0.3), x.u(1.0, 4.0), throttle=power))


def many_turns(x: Draw) -> Card:
    """A long one."""
    return x.finish(x.spin(x.slow(x.begun()), x.u(7.0, 14.0), aileron=x.u(-0.4, 0.4)))


def stick_swung(x: Draw) -> Card:
    """Stick stirred in the spin."""
    card = x.spin(x.slow(x.begun()), 1.0)
    card.put(
        (c.TURNS, x.u(2.0, 5.0)), 25.0, aft=x.u(0.5, 0.9), pedal=x.d, period_s=x.u(1.5, 5.0),
        swing=(x.u(0.0, 0.5), x.u(0.2, 1.0), x.u(0.0, 0.4)),
    )  # fmt: skip
    return x.finish(card)


def not_recovered(x: Draw) -> Card:
    """Held in until the recording ends."""
    return x.spin(x.slow(x.begun()), x.u(3.0, 9.0), aileron=x.u(-0.3, 0.3))


def other_way(x: Draw) -> Card:
    """Pedal one way, much stick the other: which way it goes is up to the aircraft."""
    card = x.slow(x.begun())
    card.put((c.TURNS, x.u(1.0, 3.0)), 14.0, aft=1.0, pedal=x.u(0.1, 0.5) * x.d, right=-x.d, ramp_s=0.4)
    return x.finish(card)


def three_spins(x: Draw) -> Card:
    """A sortie's worth, both ways, short climbs between."""
    card = x.begun()
    for d in (x.d, -x.d, x.d):
        x.finish(x.spin(x.slow(card), x.u(0.8, 2.5), d=d), d=d)
        card.cruise(x.u(3.0, 8.0), pitch=0.15, throttle=1.0)
    return card


SPINS: dict[str, tuple[Callable[[Draw], Card], float]] = {
    "slow entry": (slow_entry, 1.35), "abrupt entry": (abrupt_entry, 1.3), "accelerated entry": (accelerated_entry, 1.7),
    "climbing turn": (climbing_turn, 1.5), "out of a climb": (out_of_a_climb, 1.6), "inverted": (inverted, 1.6),
    "inverted from a loop": (inverted_from_a_loop, 2.7), "out of a hammerhead": (out_of_a_hammerhead, 2.6),
    "out of a tail slide": (out_of_a_tail_slide, 2.6), "skidded turn": (skidded_turn, 1.4), "slipped turn": (slipped_turn, 1.4),
    "aborted entry": (aborted_entry, 1.35), "half turn": (half_turn, 1.35), "controls neutral": (controls_neutral, 1.35),
    "hands off": (hands_off, 1.35), "ailerons against": (ailerons_against, 1.35), "ailerons with": (ailerons_with, 1.35),
    "slow recovery": (slow_recovery, 1.35), "stick before pedal": (stick_before_pedal, 1.35),
    "over-control": (over_control, 1.35), "reversal": (reversal, 1.35), "again": (again, 1.35),
    "pulled too hard": (pulled_too_hard, 1.35), "power on": (power_on, 1.35), "many turns": (many_turns, 1.35),
    "stick swung": (stick_swung, 1.35), "not recovered": (not_recovered, 1.35), "other way": (other_way, 1.35),
    "three spins": (three_spins, 1.35),
}  # fmt: skip
