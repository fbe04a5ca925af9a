"""Scripts that do not spin but look like it to a simple watch: turns, spirals, rolls, loops, snaps, stalls."""

from __future__ import annotations

import numpy as np
from tests.truth import pilot as law
from tests.truth.pilot import Script


def _finish(script: Script, load: float = 2.5) -> Script:
    return script.pull_out(load, 0.19).attitude(4.0, pitch=0.05)


def spiral(d: int, bank: float = 1.05, nose: float = -0.35, turns: float = 3.0) -> Script:
    """Unstalled descending spiral, speed rising."""
    script = Script().attitude(3.0)
    script.add(law.ATTITUDE, law.TURNS, turns, 60.0, throttle=0.3, x1=nose, x2=bank * d)
    return _finish(script)


def inverted_spiral(d: int, bank: float = 2.3, turns: float = 2.0) -> Script:
    """The same hanging in the straps."""
    script = Script().roll_inverted(d, 6.0, throttle=0.6)
    script.add(law.ATTITUDE, law.TURNS, turns, 40.0, throttle=0.4, x1=-0.3, x2=bank * d)
    return _finish(script)


def steep_turn(d: int, bank: float = 1.1, turns: float = 2.0) -> Script:
    """Level steep turn."""
    script = Script().attitude(3.0, throttle=0.6)
    script.add(law.ATTITUDE, law.TURNS, turns, 60.0, throttle=1.0, x1=0.08, x2=bank * d)
    return script.attitude(4.0)


def aileron_rolls(d: int, rolls: float = 3.0, load: float = 1.0, rate: float = 2.2) -> Script:
    """Nose up a little, then continuous rolls."""
    script = Script().attitude(3.0, throttle=0.7)
    script.load_and_roll(law.PITCH_ABOVE, 0.35, 4.0, 2.0, 0.0, throttle=1.0, x3=0.2)
    script.load_and_roll(law.ROLLED, rolls * 2 * np.pi, 20.0, load, d * rate, throttle=1.0, x3=0.2)
    return _finish(script)


def barrel_roll(d: int, load: float = 1.8, rate: float = 1.0, rolls: float = 1.0) -> Script:
    """Pull and roll together."""
    script = Script().attitude(3.0, throttle=0.7)
    script.load_and_roll(law.PITCH_ABOVE, 0.4, 4.0, 2.6, 0.0, throttle=1.0, x3=0.2)
    script.load_and_roll(law.ROLLED, rolls * 2 * np.pi, 20.0, load, d * rate, throttle=1.0, x3=0.2)
    return _finish(script)


def vertical_down_rolls(d: int, rolls: float = 3.0, rate: float = 3.0) -> Script:
    """Pushed over into a vertical dive and rolled."""
    script = Script().attitude(3.0, throttle=0.3)
    script.add(law.ATTITUDE, law.PITCH_BELOW, -1.3, 8.0, throttle=0.0, x1=-1.5, x2=0.0)
    script.load_and_roll(law.ROLLED, rolls * 2 * np.pi, 12.0, 0.0, d * rate, throttle=0.0, x3=0.15)
    return _finish(script, 3.2)


def vertical_up_rolls(d: int, rolls: float = 1.5, rate: float = 3.0) -> Script:
    """Pulled to the vertical and rolled going up, then pushed out."""
    script = Script().attitude(2.0, pitch=-0.2, throttle=1.0)
    script.load_and_roll(law.PITCH_ABOVE, 1.25, 6.0, 3.6, 0.0, throttle=1.0, x3=0.2)
    script.load_and_roll(law.ROLLED, rolls * 2 * np.pi, 5.0, 0.1, d * rate, throttle=1.0, x3=0.15)
    script.load_and_roll(law.PITCH_BELOW, -0.3, 8.0, 0.3, 0.0, throttle=0.5, x3=0.15)
    return _finish(script)


def loops(n: int = 2, load: float = 3.3) -> Script:
    """Loops one after the other."""
    script = Script().attitude(2.0, pitch=-0.25, throttle=1.0)
    for _ in range(n):
        script.load_and_roll(law.PITCH_ABOVE, 1.2, 7.0, load, 0.0, throttle=1.0, x3=0.2)
        script.load_and_roll(law.PITCH_BELOW, -0.2, 8.0, load * 0.6, 0.0, throttle=0.8, x3=0.19)
        script.load_and_roll(law.PITCH_ABOVE, 0.1, 7.0, load, 0.0, throttle=1.0, x3=0.2)
    return script.attitude(4.0)


def half_roll_pull_through(d: int) -> Script:
    """Rolled inverted and pulled through to level."""
    script = Script().attitude(3.0, throttle=0.4)
    script.load_and_roll(law.ROLLED, np.pi, 4.0, 0.6, d * 2.4, throttle=0.2, x3=0.2)
    script.load_and_roll(law.PITCH_BELOW, -1.2, 6.0, 2.4, 0.0, throttle=0.0, x3=0.19)
    return _finish(script, 3.2)


def snap_roll(d: int, roll: float = 5.2, inverted: bool = False, load: float = 1.0) -> Script:
    """Stalled roll about a level path: stick and pedal hard, stopped after one turn of roll."""
    sign = -1.0 if inverted else 1.0
    script = Script()
    if inverted:
        script.roll_inverted(d, 7.0, throttle=0.7)
    else:
        script.attitude(3.0, pitch=0.06, throttle=0.6)
    script.hold(law.ROLLED, roll, 4.0, aft=sign * load, pedal=float(d), throttle=0.6)
    script.anti_spin(law.TIME, 0.0, 0.35, 0.1, -0.3 * sign, aft=sign, pedal=float(-d), throttle=0.5)
    script.hold(law.TIME, 0.0, 0.4, throttle=0.5)
    return _finish(script)


def inverted_snaps(d: int, count: int = 2) -> Script:
    """Inverted snap rolls close together: they look end over end and are not."""
    script = Script().roll_inverted(d, 7.0, throttle=0.8)
    for _ in range(count):
        script.hold(law.ROLLED, 5.0, 3.0, aft=-1.0, pedal=float(d), throttle=0.8)
        script.anti_spin(law.TIME, 0.0, 0.3, 0.1, 0.3, aft=-1.0, pedal=float(-d), throttle=0.8)
        script.hold(law.TIME, 0.0, 0.5, throttle=0.8)
        script.attitude(2.5, pitch=0.15, bank=np.pi, throttle=1.0)
    return _finish(script)


def falling_leaf(period_s: float = 2.2, pedal: float = 0.55, seconds: float = 14.0) -> Script:
    """Held in the stall while pedal and stick swing from side to side."""
    script = Script().attitude(3.0).slow_down(0.2)
    script.add(law.PULSES, law.TIME, 0.0, seconds, aft=0.62, right=0.0, pedal=pedal, x4=period_s)
    script.hold(law.TIME, 0.0, 0.8, aft=-0.2)
    return _finish(script)


def stall(d: int, throttle: float = 0.0, wing_drop_s: float = 0.0) -> Script:
    """Level stall, with a kick of pedal that is taken off before a spin forms."""
    script = Script().attitude(3.0).slow_down(0.22, throttle=throttle)
    script.hold(law.TIME, 0.0, 1.2, aft=0.9, throttle=throttle)
    if wing_drop_s > 0.0:
        script.hold(law.TIME, 0.0, wing_drop_s, aft=0.9, pedal=float(d), throttle=throttle)
    script.hold(law.TIME, 0.0, 1.2, aft=-0.3, pedal=0.0, throttle=0.5)
    return _finish(script)


def wing_over(d: int, bank: float = 1.4) -> Script:
    """Climbing turn, over the top, diving out the other way."""
    script = Script().attitude(3.0, pitch=-0.1, throttle=0.8)
    script.load_and_roll(law.PITCH_ABOVE, 0.7, 6.0, 2.5, 0.0, throttle=1.0, x3=0.2)
    script.add(law.ATTITUDE, law.TIME, 0.0, 6.0, throttle=0.8, x1=-0.5, x2=bank * d)
    return _finish(script)


def tail_slide(throttle: float = 0.0) -> Script:
    """Pulled to the vertical with the power off: falls back, swaps ends, dives."""
    script = Script().attitude(2.0, pitch=-0.1, throttle=1.0)
    script.load_and_roll(law.PITCH_ABOVE, 1.4, 6.0, 3.5, 0.0, throttle=1.0, x3=0.2)
    script.hold(law.PITCH_BELOW, -0.9, 14.0, throttle=throttle)
    return _finish(script, 3.0)
