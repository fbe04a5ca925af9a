"""The truth of a flight from its exact state, by the agreed definitions; knows nothing of scripts or of the product.

Start: where the final rotation about the vertical above 20 deg/s in the spin's sense begins, stalled. End: the earlier
of rotation stopped (under 10 deg/s, or reversed) and un-stalled. Level: the first moment without sink after the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STARTED_RADPS = np.radians(20.0)
STOPPED_RADPS = np.radians(10.0)
SPIN_TURNS = 0.40  # less than this about the vertical is no spin; between the two nobody can say
BORDERLINE_TURNS = 0.10
DIP_S = 0.8  # alpha below the stall for no longer than this, the rotation on, belongs to the spin
FIRST_DIP_S = 1.5  # in its first half turn
HALT_S = 0.6  # nearly standing still for no longer than this, stalled, is a falter
FEET = 0.3048


@dataclass(frozen=True)
class Exact:
    """Exact histories of one flight, equally long, SI and radians; turns are running counters."""

    time_s: Floats
    alpha: Floats
    yaw_rate: Floats
    omega_vertical: Floats
    turns_flight_path: Floats
    turns_vertical: Floats
    height_m: Floats
    pitch: Floats
    heading: Floats
    stall_upright: float
    stall_inverted: float  # magnitude


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and stop (excluded) of every stretch of True."""
    edge = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return list(zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True))


def _joined(x: Exact, runs: list[tuple[int, int]], sense: int, side: int) -> list[tuple[int, int]]:
    """Stretches with only a falter or a short dip of alpha between them are one."""
    out: list[tuple[int, int]] = []
    for start, stop in runs:
        if out and _belong(x, out[-1], (start, stop), sense, side):
            out[-1] = (out[-1][0], stop)
        else:
            out.append((start, stop))
    return out


def _belong(x: Exact, before: tuple[int, int], after: tuple[int, int], sense: int, side: int) -> bool:
    """A dip of alpha with the rotation above 10 deg/s; a falter while stalled; a first half turn that never turns back.

    The start is the final rotation's: what came before the rotation last turned the other way does not count.
    """
    a, b = before[1], after[0]
    gap = x.time_s[b - 1] - x.time_s[a - 1]
    rotation = sense * x.omega_vertical[a:b]
    turned = abs(float(x.turns_vertical[a] - x.turns_vertical[before[0]]))
    flying = _longest(_stalled(x)[a:b] != side) * float(x.time_s[1] - x.time_s[0])
    if turned < 0.5:
        return bool(gap <= 3.0 and flying <= FIRST_DIP_S and (rotation > 0.0).all())
    halting = _longest(rotation < STOPPED_RADPS) * float(x.time_s[1] - x.time_s[0])
    goes_on = abs(float(x.turns_vertical[after[1] - 1] - x.turns_vertical[b])) >= BORDERLINE_TURNS
    longest = HALT_S if flying == 0.0 and goes_on else 0.0
    return bool(gap <= 1.5 and flying <= DIP_S and (rotation > -STOPPED_RADPS).all() and halting <= longest)


def _longest(mask: NDArray[np.bool_]) -> int:
    return max((b - a for a, b in _runs(mask)), default=0)


def _unstalled(x: Exact, c: dict[str, Any]) -> int | None:
    """Where the wing flies again and not only for a dip with the rotation on."""
    stop = int(c["stop"])
    step = float(x.time_s[1] - x.time_s[0])
    turning = int(c["sense"]) * x.omega_vertical > STOPPED_RADPS
    for a, b in _runs(_stalled(x)[stop - 1 :] != c["side"]):
        first, last = a + stop - 1, min(b + stop - 1, len(x.time_s) - 1)
        if (b - a) * step > DIP_S or not bool(turning[first : last + 1].all()):
            return first
    return None


def _stalled(x: Exact) -> NDArray[np.int8]:
    return (x.alpha > x.stall_upright).astype(np.int8) - (x.alpha < -x.stall_inverted).astype(np.int8)


def candidates(x: Exact) -> list[dict[str, Any]]:
    """Every stalled rotation, in time order: indices, sense from above, side (+1 upright, -1 inverted), turns."""
    stalled = _stalled(x)
    out = []
    for side in (1, -1):
        for sense in (1, -1):
            mask = (sense * x.omega_vertical > STARTED_RADPS) & (stalled == side)
            for start, stop in _joined(x, _runs(mask), sense, side):
                turned = abs(float(x.turns_vertical[stop - 1] - x.turns_vertical[start]))
                if turned >= BORDERLINE_TURNS:
                    out.append({"start": start, "stop": stop, "sense": sense, "side": side, "turns": turned})
    return sorted(out, key=lambda c: int(c["start"]))


def _first_try(x: Exact, found: list[dict[str, Any]], i: int) -> bool:
    """Less than a turn that stops and begins again the same way within 2 s: the spin starts with the final rotation."""
    c = found[i]
    later = [d for d in found[i + 1 :] if d["side"] == c["side"] and d["sense"] == c["sense"]]
    if c["turns"] >= 1.0 or not later:
        return False
    return float(x.time_s[later[0]["start"]] - x.time_s[c["stop"] - 1]) < 2.0


def _first(mask: NDArray[np.bool_], start: int) -> int | None:
    hits = np.flatnonzero(mask[start:])
    return int(hits[0]) + start if len(hits) else None


def _at(x: Exact, i: int | None) -> float | None:
    return None if i is None else round(float(x.time_s[i]), 4)


def _turns(x: Exact, a: int | None, b: int | None) -> dict[str, float] | None:
    if a is None or b is None or b < a:
        return None
    return {
        "about_flight_path": round(abs(float(x.turns_flight_path[b] - x.turns_flight_path[a])), 4),
        "about_vertical": round(abs(float(x.turns_vertical[b] - x.turns_vertical[a])), 4),
        "nose_heading": round(abs(float(x.heading[b] - x.heading[a])) / (2 * np.pi), 4),
    }


def _one(x: Exact, c: dict[str, Any], marks: dict[str, list[float]], until: int) -> dict[str, Any]:
    start, stop, sense = int(c["start"]), int(c["stop"]), int(c["sense"])
    n = len(x.time_s)
    still_spinning = stop >= n - 1
    stopped = _first(sense * x.omega_vertical < STOPPED_RADPS, stop) if stop < n else None
    unstalled = _unstalled(x, c)
    ends = [i for i in (stopped, unstalled) if i is not None]
    end = None if still_spinning or not ends else min(ends)
    last = n - 1 if end is None else end
    controls = _latest(x, marks.get("recovery", []), start, last)
    pro = _latest(x, marks.get("pro_spin", []), 0, start + 400)
    climb = np.gradient(x.height_m, x.time_s)
    level = None if end is None else _first(climb > -0.3, end + 40)
    if level is not None and level >= until:
        level = None
    spans = {
        "prospin_to_rec": _turns(x, pro, controls),
        "start_to_rec": _turns(x, start, controls),
        "start_to_rotstop": _turns(x, start, stopped),
        "rec_to_rotstop": _turns(x, controls, stopped),
        "start_to_spinend": _turns(x, start, end),
        "rec_to_spinend": _turns(x, controls, end),
    }
    points = {"prospin": pro, "start": start, "rec_control": controls, "rot_stop": stopped, "level": level}
    points |= {"unstall": unstalled, "end": end}
    heights = {k: round(float(x.height_m[i]) / FEET, 3) for k, i in points.items() if i is not None}
    return {
        "orientation": "upright" if c["side"] > 0 else "inverted",
        "sense_from_above": "clockwise" if sense > 0 else "anticlockwise",
        "direction": "right" if float(np.mean(x.yaw_rate[start:last])) > 0 else "left",
        "start_s": _at(x, start),
        "pro_spin_controls_s": _at(x, pro),
        "recovery_controls_s": _at(x, controls),
        "rotation_stopped_s": _at(x, stopped),
        "unstalled_s": _at(x, unstalled),
        "spin_end_s": _at(x, end),
        "level_s": _at(x, level),
        "altitude_ft": heights,
        "turns": {k: v for k, v in spans.items() if v is not None},
        "settled": _settled(x, start, controls if controls is not None else last),
    }


def _latest(x: Exact, times: list[float], a: int, b: int) -> int | None:
    """First control mark inside the stretch."""
    inside = [t for t in times if x.time_s[a] <= t <= x.time_s[b if b < len(x.time_s) else -1]]
    if not inside:
        return None
    t = inside[-1] if a == 0 else inside[0]
    return int(np.searchsorted(x.time_s, t))


def _settled(x: Exact, start: int, stop: int) -> dict[str, Any]:
    """Period, alpha, sink and pitch over the last turn about the vertical before `stop` (all of it when shorter)."""
    turned = np.abs(x.turns_vertical[start : stop + 1] - x.turns_vertical[stop])
    inside = np.flatnonzero(turned <= 1.0)
    a = start + int(inside[0])
    b = max(stop, a + 2)
    seconds = float(x.time_s[b] - x.time_s[a])
    turns = abs(float(x.turns_vertical[b] - x.turns_vertical[a]))
    alpha = np.degrees(x.alpha[a:b])
    rate = np.abs(np.degrees(x.omega_vertical[a:b]))
    return {
        "s_per_turn": round(seconds / max(turns, 1e-3), 4),
        "alpha": [round(float(f(alpha)), 4) for f in (np.min, np.median, np.max)],
        "sink_fps": round(float(x.height_m[a] - x.height_m[b]) / seconds / FEET, 4),
        "theta_deg": [round(float(f(np.degrees(x.pitch[a:b]))), 4) for f in (np.min, np.max)],
        "rotation_dps": [round(float(f(rate)), 4) for f in (np.min, np.mean, np.max)],
    }


def label(x: Exact, marks: dict[str, list[float]]) -> dict[str, Any]:
    """The truth record: spins, stretches nobody could call either way, duration."""
    found = candidates(x)
    spins = [c for i, c in enumerate(found) if c["turns"] >= SPIN_TURNS and not _first_try(x, found, i)]
    doubtful = [c for c in found if not any(c is s for s in spins)]
    starts = [int(c["start"]) for c in spins] + [len(x.time_s)]
    return {
        "spins": [_one(x, c, marks, starts[i + 1]) for i, c in enumerate(spins)],
        "borderline": [[_at(x, int(c["start"])), _at(x, int(c["stop"]) - 1)] for c in doubtful],
        "duration_s": round(float(x.time_s[-1]), 4),
    }
