"""Flights of a general flight-dynamics library's own aircraft models, labelled from the library's own state.

The library is `jsbsim` (a test dependency). Its models are flown by small control laws through loops, rolls, turns,
spirals and stalls; two of them autorotate when asked to.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.truth import labels
from tests.truth.flight import DEG, START_NS, Flight

Floats = NDArray[np.float64]
RATE_HZ = 100
# what the flights call an aircraft, the library's model, entry speed kt, stall alpha deg upright and inverted
MODELS: dict[str, tuple[str, float, float, float]] = {
    "library single": ("c172p", 75.0, 16.0, 14.0),
    "library heavy single": ("p51d", 115.0, 18.0, 14.0),
    "library trainer": ("t6texan2", 115.0, 18.0, 14.0),
    "library jet": ("A4", 230.0, 22.0, 18.0),
}
READ = {
    "p": "velocities/p-rad_sec", "q": "velocities/q-rad_sec", "r": "velocities/r-rad_sec",
    "roll": "attitude/phi-rad", "pitch": "attitude/theta-rad", "heading": "attitude/psi-rad",
    "alpha": "aero/alpha-rad", "beta": "aero/beta-rad", "h": "position/h-sl-ft", "kt": "velocities/vc-kts",
    "nx": "accelerations/Nx", "ny": "accelerations/Ny", "nz": "accelerations/Nz",
}  # fmt: skip
State = dict[str, float]
Controls = tuple[float, float, float, float]  # aft, right, pedal right, throttle
Phase = tuple[Callable[[State, dict[str, float]], Controls], Callable[[State, dict[str, float]], bool], float]


def _hold(pitch: float, bank: float, throttle: float) -> Callable[[State, dict[str, float]], Controls]:
    def law(s: State, m: dict[str, float]) -> Controls:
        error = pitch - s["pitch"]
        m["i"] = float(np.clip(m.get("i", 0.0) + 0.25 * error / RATE_HZ, -0.5, 0.5))
        turn = float(np.arctan2(np.sin(bank - s["roll"]), np.cos(bank - s["roll"])))
        return 1.6 * error - 0.7 * s["q"] + m["i"], 1.0 * turn - 0.35 * s["p"], 0.8 * s["beta"], throttle

    return law


def _fixed(aft: float, right: float, pedal: float, throttle: float) -> Callable[[State, dict[str, float]], Controls]:
    return lambda s, m: (aft, right, pedal, throttle)


def _pull(
    load: float, roll: float, throttle: float, level: bool = False
) -> Callable[[State, dict[str, float]], Controls]:
    def law(s: State, m: dict[str, float]) -> Controls:
        m["i"] = float(np.clip(m.get("i", 0.0) + 0.5 * (load - s["nz"]) / RATE_HZ, -0.8, 1.0))
        wanted = -1.2 * s["roll"] * abs(np.cos(s["pitch"])) if level else roll
        aft = 0.08 * (load - s["nz"]) + m["i"] - 0.3 * s["q"] - 4.0 * max(0.0, s["alpha"] - 0.22)
        return aft, 0.5 * (wanted - s["p"]) + 0.12 * wanted, 0.5 * s["beta"], throttle

    return law


def _from(s: State) -> dict[str, float]:
    return {"since": 0.0, "tv0": s["tv"], "rolled0": s["rolled"], "pitched0": s["pitched"]}


def _after(seconds: float) -> Callable[[State, dict[str, float]], bool]:
    return lambda s, m: m["since"] >= seconds


def _turned(turns: float) -> Callable[[State, dict[str, float]], bool]:
    return lambda s, m: abs(s["tv"] - m["tv0"]) >= turns


def _rolled(turns: float) -> Callable[[State, dict[str, float]], bool]:
    return lambda s, m: abs(s["rolled"] - m["rolled0"]) >= 2 * np.pi * turns


def _pitched(s: State, m: dict[str, float]) -> bool:
    return s["pitched"] - m["pitched0"] >= 2 * np.pi * 0.97


def _level(s: State, m: dict[str, float]) -> bool:
    return m["since"] > 1.0 and s["pitch"] > 0.03


def _recovered(s: State, m: dict[str, float]) -> bool:
    return m["since"] > 0.5 and abs(s["r"]) < 0.15 and abs(s["alpha"]) < 0.25


def _spin(d: float, turns: float, recover: bool) -> list[Phase]:
    phases: list[Phase] = [
        (_hold(0.05, 0.0, 0.3), _after(4.0), 4.0),
        (_hold(0.3, 0.0, 0.0), lambda s, m: s["alpha"] > 0.19, 14.0),
        (_fixed(1.0, 0.0, d, 0.0), _turned(turns), 40.0),
    ]
    if not recover:
        return phases
    return [
        *phases,
        (_fixed(-0.5, 0.0, -d, 0.0), _recovered, 20.0),
        (_fixed(0.0, 0.0, 0.0, 0.0), _after(0.6), 0.6),
        (_pull(2.5, 0.0, 0.1, True), _level, 15.0),
        (_hold(0.05, 0.0, 0.4), _after(5.0), 5.0),
    ]


def _phases(situation: str, rng: np.random.Generator, d: float) -> list[Phase]:
    start: Phase = (_hold(0.05, 0.0, 0.6), _after(3.0), 3.0)
    end: list[Phase] = [(_pull(2.2, 0.0, 0.4, True), _level, 12.0), (_hold(0.05, 0.0, 0.5), _after(4.0), 4.0)]

    def u(a: float, b: float) -> float:
        return float(rng.uniform(a, b))

    middle: dict[str, Callable[[], list[Phase]]] = {
        "steep turn": lambda: [(_hold(0.08, d * u(0.8, 1.05), 1.0), _turned(u(1.0, 2.0)), 40.0)],
        "spiral": lambda: [(_hold(u(-0.5, -0.25), d * u(0.9, 1.2), 0.2), _turned(u(1.5, 3.0)), 40.0)],
        "loop": lambda: [
            (_hold(-0.3, 0.0, 1.0), _after(5.0), 5.0), (_pull(3.0, 0.0, 1.0), _pitched, 25.0),
        ],
        "aileron rolls": lambda: [
            (_pull(2.0, 0.0, 1.0), lambda s, m: s["pitch"] > 0.35, 4.0), (_pull(0.8, d * u(1.0, 2.0), 1.0), _rolled(u(1.0, 2.0)), 12.0),
        ],
        "barrel roll": lambda: [
            (_hold(-0.2, 0.0, 1.0), _after(3.0), 3.0), (_pull(2.5, 0.0, 1.0), lambda s, m: s["pitch"] > 0.35, 5.0),
            (_pull(1.6, d * u(0.8, 1.3), 1.0), _rolled(1.0), 12.0),
        ],
        "rolling dive": lambda: [
            (_hold(-1.2, 0.0, 0.0), lambda s, m: s["pitch"] < -1.0, 8.0), (_pull(0.2, d * u(1.2, 2.2), 0.0), _rolled(u(1.0, 2.0)), 6.0),
        ],
        "stall": lambda: [
            (_hold(0.4, 0.0, 0.0), lambda s, m: s["alpha"] > 0.27, 14.0), (_fixed(-0.3, 0.0, 0.0, 0.5), _after(1.5), 1.5),
        ],
    }  # fmt: skip
    return [start, *middle[situation](), *end]


def _fly(model: str, speed_kt: float, phases: list[Phase], height_ft: float) -> tuple[Floats, Floats]:
    os.environ.setdefault("JSBSIM_DEBUG", "0")  # the library is talkative otherwise
    import jsbsim  # a test dependency; its models come with it

    fdm: Any = jsbsim.FGFDMExec(None)
    fdm.set_debug_level(0)
    fdm.load_model(model)
    fdm.set_dt(1.0 / RATE_HZ)
    fdm["ic/h-sl-ft"], fdm["ic/vc-kts"], fdm["ic/alpha-deg"], fdm["ic/psi-true-deg"] = height_ft, speed_kt, 4.0, 40.0
    fdm.run_ic()
    fdm["propulsion/set-running"] = -1
    rows, controls = [], []
    s: State = {k: float(fdm[v]) for k, v in READ.items()}
    s |= {"tv": 0.0, "rolled": 0.0, "pitched": 0.0}
    number, memory = 0, {"since": 0.0, "tv0": 0.0, "rolled0": 0.0, "pitched0": 0.0}
    aft = right = pedal = throttle = 0.0
    for _ in range(120 * RATE_HZ):
        law, done, longest = phases[number]
        if memory["since"] >= longest or done(s, memory):
            number += 1
            if number == len(phases):
                break
            law, memory = phases[number][0], _from(s)
        wanted = law(s, memory)
        aft, right, pedal = (
            float(np.clip(w, max(-1.0, c - 0.04), min(1.0, c + 0.04)))
            for w, c in zip(wanted[:3], (aft, right, pedal), strict=True)
        )
        throttle = wanted[3]
        fdm["fcs/elevator-cmd-norm"], fdm["fcs/aileron-cmd-norm"] = -aft, right
        fdm["fcs/rudder-cmd-norm"], fdm["fcs/throttle-cmd-norm"] = -pedal, throttle
        rows.append([s[k] for k in READ])
        controls.append([aft, right, pedal, throttle, float(number)])
        if not fdm.run():
            break
        s = {**s, **{k: float(fdm[v]) for k, v in READ.items()}}
        omega_v = -s["p"] * np.sin(s["pitch"]) + np.cos(s["pitch"]) * (
            s["q"] * np.sin(s["roll"]) + s["r"] * np.cos(s["roll"])
        )
        s["tv"] += omega_v / (2 * np.pi * RATE_HZ)
        s["rolled"] += s["p"] / RATE_HZ
        s["pitched"] += s["q"] / RATE_HZ
        memory["since"] += 1.0 / RATE_HZ
        if not np.isfinite(s["h"]) or s["h"] < 800.0 or abs(s["alpha"]) > 1.5:
            break
    return np.array(rows), np.array(controls)


SPINNING: dict[str, str] = {"spin": "library heavy single", "spin held": "library trainer"}
OTHERS = ("steep turn", "spiral", "loop", "aileron rolls", "barrel roll", "rolling dive", "stall")


def build(situation: str, seed: int) -> Flight:
    """One flight; the seed picks the direction, the numbers and (for look-alikes) the aircraft."""
    rng = np.random.default_rng([seed, 91, *situation.encode()])
    d = 1.0 if seed % 2 else -1.0
    if situation in SPINNING:
        aircraft = SPINNING[situation]
        phases = _spin(d, float(rng.uniform(1.2, 5.0)), situation == "spin")
    else:
        aircraft = ("library single", "library heavy single", "library jet")[seed % 3]
        phases = _phases(situation, rng, d)
    model, speed, stall_up, stall_down = MODELS[aircraft]
    slow = (*SPINNING, "stall", "rolling dive")
    fast = 1.0 if situation in slow else 1.9 if situation == "loop" and seed % 3 else 1.45
    height = float(rng.uniform(9000.0, 12000.0))
    rows, controls = _fly(model, speed * fast, phases, height)
    return _flight(situation, seed, rows, controls, (stall_up, stall_down))


def _flight(situation: str, seed: int, rows: Floats, controls: Floats, stall: tuple[float, float]) -> Flight:
    x = dict(zip(READ, rows.T, strict=True))
    t = np.arange(len(rows)) / RATE_HZ
    flow = [np.cos(x["alpha"]) * np.cos(x["beta"]), np.sin(x["beta"]), np.sin(x["alpha"]) * np.cos(x["beta"])]
    omega_fp = x["p"] * flow[0] + x["q"] * flow[1] + x["r"] * flow[2]
    omega_v = -x["p"] * np.sin(x["pitch"]) + np.cos(x["pitch"]) * (
        x["q"] * np.sin(x["roll"]) + x["r"] * np.cos(x["roll"])
    )
    counters = [
        np.concatenate(([0.0], np.cumsum(0.5 * (o[1:] + o[:-1])))) / RATE_HZ / (2 * np.pi) for o in (omega_fp, omega_v)
    ]
    heading = np.unwrap(x["heading"])
    exact = labels.Exact(
        t, x["alpha"], x["r"], omega_v, counters[0], counters[1], x["h"] * 0.3048, x["pitch"], heading,
        np.radians(stall[0]), np.radians(stall[1]),
    )  # fmt: skip
    anti = np.flatnonzero(controls[:, 4] == 3) if situation == "spin" else np.array([], dtype=int)
    marks = {"recovery": [float(t[anti[0]])] if len(anti) else [], "pro_spin": []}
    truth = {**labels.label(exact, marks), "start_time_ns": START_NS}
    angles = ("p", "q", "r", "roll", "pitch", "alpha", "beta")
    names = ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps", "roll_deg", "pitch_deg", "alpha_deg", "beta_deg")
    columns = {name: x[k] * DEG for k, name in zip(angles, names, strict=True)}
    columns |= {"pressure_altitude_ft": x["h"], "heading_deg": np.mod(heading * DEG, 360.0)}
    columns |= {"calibrated_airspeed_kt": x["kt"], "normal_load_g": x["nz"]}
    columns |= {"longitudinal_load_g": x["nx"], "lateral_load_g": x["ny"]}
    for i, name in enumerate(("stick_aft_pct", "stick_right_pct", "pedal_right_pct", "throttle_pct")):
        columns[name] = controls[:, i] * 100.0
    name = f"library_{situation.replace(' ', '_')}-{seed}"
    return Flight(name, "jsbsim", situation, seed, t, columns, counters[0], counters[1], truth, (stall[0], -stall[1]))


# The first three seeds are one aircraft each; of those, only the heavy single comes round a loop and only the single round
# a turn. What the others make of it stays in: a stall out of the vertical, a quarter of a fast turn.
MORE = {"loop": (4, 7), "steep turn": (3, 6), "spiral": (12,)}


def entries() -> list[tuple[str, int]]:
    """(situation, seed) of the benchmark's library flights."""
    return (
        [("spin", k) for k in (0, 1, 2, 3, 4, 6, 8)]
        + [("spin held", k) for k in range(2)]
        + [(s, k) for s in OTHERS for k in (0, 1, 2, *MORE.get(s, ()))]
    )
