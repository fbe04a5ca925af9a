"""Scripts that spin: each named situation as a function of the aircraft, the direction and a few numbers."""

from __future__ import annotations

import numpy as np
from tests.truth import pilot as law
from tests.truth.pilot import Script

INVERTED_BANK = float(np.pi)


def _entry(script: Script, d: int, *, inverted: bool = False, seconds: float = 4.0, style: int = 0) -> Script:
    """Level, slow down to the stall; style 1: banked entry, 2: out of a climb."""
    if inverted:
        return script.roll_inverted(d, 6.0 + 2.0 * seconds).slow_down(0.185, bank=INVERTED_BANK)
    if style == 2:
        script.attitude(seconds)
        return script.add(law.ATTITUDE, law.ALPHA_ABOVE, 0.2, 14.0, throttle=0.0, x1=0.55, x2=0.0)
    return script.attitude(seconds, pitch=0.04).slow_down(0.185, bank=0.5 * d if style == 1 else 0.0)


def _recover(
    script: Script, d: int, *, sign: float = 1.0, delay: float = 0.4, forward: float = -0.4, neutral_s: float = 0.5
) -> Script:
    """Opposite pedal, then stick; centralise when the rotation has stopped. sign -1: inverted."""
    script.anti_spin(law.UNSTALLED_OR_STOPPED, 0.20, 40.0, delay, forward * sign, aft=sign, pedal=float(-d))
    return script.hold(law.TIME, 0.0, neutral_s)


def _level_off(script: Script, load: float = 2.7, seconds: float = 5.0) -> Script:
    return script.pull_out(load, 0.19).attitude(seconds, pitch=0.06)


def plain(
    d: int, turns: float, *, inverted: bool = False, style: int = 0, aileron: float = 0.0, throttle: float = 0.0,
    delay: float = 0.4, forward: float = -0.4, load: float = 2.7,
) -> Script:  # fmt: skip
    """Stall, pro-spin controls, `turns` about the vertical, anti-spin controls, pull-out."""
    sign = -1.0 if inverted else 1.0
    script = _entry(Script(), d, inverted=inverted, style=style)
    script.hold(law.TURNS, turns, 60.0, aft=sign, pedal=float(d), right=aileron * d, throttle=throttle)
    return _level_off(_recover(script, d, sign=sign, delay=delay, forward=forward), load)


def switching_ailerons(d: int, turns: float, amount: float) -> Script:
    """Ailerons with, then against the spin every turn: the rotation oscillates."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, 1.0, 30.0, aft=1.0, pedal=float(d))
    for k in range(int(2 * (turns - 1.0))):
        side = 1.0 if k % 2 else -1.0
        script.hold(law.TURNS, 0.5, 15.0, aft=1.0, pedal=float(d), right=side * amount * d)
    return _level_off(_recover(script, d))


def flattening(d: int, turns: float, aileron: float = -0.7) -> Script:
    """Two turns, then ailerons against the spin: alpha rises turn on turn."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, 2.0, 40.0, aft=1.0, pedal=float(d))
    for k in range(int(turns - 2.0)):
        script.hold(law.TURNS, 1.0, 15.0, aft=1.0, pedal=float(d), right=aileron * d * (k + 1) / (turns - 2.0))
    return _level_off(_recover(script, d))


def power_left_on(d: int, turns: float, throttle: float) -> Script:
    """Power comes in with the pedal and stays until a turn into the recovery."""
    return plain(d, turns, throttle=throttle)


def overcontrol(
    d: int, turns: float, *, push: float = -1.0, held_s: float = 7.0, inverted_turns: float = 1.5
) -> Script:
    """Recovery too strong and held: the upright spin turns into an inverted one, which is then recovered."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, turns, 60.0, aft=1.0, pedal=float(d))
    script.anti_spin(law.TIME, 0.0, 0.7, 0.3, push, aft=1.0, pedal=float(-d))
    script.hold(law.TIME, 0.0, held_s, aft=push, pedal=float(-d))
    script.hold(law.TURNS, inverted_turns, 20.0, aft=push, pedal=float(-d))
    script.anti_spin(law.UNSTALLED_OR_STOPPED, 0.20, 20.0, 0.4, 0.4, aft=push, pedal=float(d))
    script.hold(law.TIME, 0.0, 0.6)
    return _level_off(script)


def reversal(d: int, turns: float, *, back_turns: float = 1.5, after: float = 0.8, help_roll: float = 0.3) -> Script:
    """Pedal reversed with the stick kept aft and never centralised: spins the other way."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, turns, 60.0, aft=1.0, pedal=float(d))
    script.anti_spin(law.ROTATION_BELOW, 0.12, 25.0, 0.3, after, aft=1.0, pedal=float(-d), right=-help_roll * d)
    script.hold(law.TIME, 0.0, 1.0, aft=1.0, pedal=float(-d), right=-help_roll * d)
    script.hold(law.TURNS, back_turns, 25.0, aft=1.0, pedal=float(-d))
    return _level_off(_recover(script, -d))


def again(d: int, turns: float, *, wait_s: float = 1.0, more: float = 1.5) -> Script:
    """Recovered, controls centred, then stick and pedal come back at once: a second spin the same way."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, turns, 60.0, aft=1.0, pedal=float(d))
    _recover(script, d, neutral_s=wait_s)
    script.hold(law.TURNS, more, 25.0, aft=1.0, pedal=float(d))
    return _level_off(_recover(script, d))


def against_the_pedal(d: int, turns: float, against_turns: float = 1.5) -> Script:
    """Opposite pedal with the stick kept fully aft: it goes on spinning for turns against the pedal."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, turns, 60.0, aft=1.0, pedal=float(d))
    script.hold(law.TURNS, against_turns, 25.0, aft=1.0, pedal=float(-0.6 * d))
    return _level_off(_recover(script, d))


def several(directions: list[int], turns: list[float]) -> Script:
    """One sortie's worth: spin, recover, climb back, spin again."""
    script = Script()
    for d, n in zip(directions, turns, strict=True):
        _entry(script, d)
        script.hold(law.TURNS, n, 60.0, aft=1.0, pedal=float(d))
        _level_off(_recover(script, d), seconds=3.0)
        script.attitude(9.0, pitch=0.22, throttle=1.0)
    return script


def not_recovered(d: int, turns: float, *, inverted: bool = False) -> Script:
    """Pro-spin controls held until the recording ends, still spinning."""
    sign = -1.0 if inverted else 1.0
    script = _entry(Script(), d, inverted=inverted)
    return script.hold(law.TURNS, turns, 90.0, aft=sign, pedal=float(d))


def accelerated(d: int, turns: float, bank: float = 1.0) -> Script:
    """Out of a steep turn: pulled into the stall with full pedal."""
    script = Script().attitude(2.0, throttle=0.6)
    script.add(law.ATTITUDE, law.TIME, 0.0, 2.0, throttle=0.4, x1=0.03, x2=bank * d)
    script.load_and_roll(law.ALPHA_ABOVE, 0.2, 8.0, 2.2, 0.0, throttle=0.2)
    script.hold(law.TURNS, turns, 40.0, aft=1.0, pedal=float(d))
    return _level_off(_recover(script, d))


def stuck_in(d: int, turns: float, against_s: float) -> Script:
    """Recovery controls too weak to slow it: it spins on until the recording ends."""
    script = _entry(Script(), d)
    script.hold(law.TURNS, turns, 60.0, aft=1.0, pedal=float(d))
    return script.anti_spin(law.TIME, 0.0, against_s, 0.6, 0.6, aft=1.0, pedal=-0.12 * d)
