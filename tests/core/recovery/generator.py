"""Made-up motion records for the decision step: whole sorties from a seed, no detector needed.

Each flight is a level stretch, a spin that becomes known late, a recovery that comes early, late or never, a dive and a
pull-out, told in the motion record's own fields at a rate of its own, with noise, flickering flags and lost data.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numba
import numpy as np
import numpy.typing as npt

from spinfloor.core.detector.emission import CODE_CALL, PAYLOAD_WIDTH, SLOTS_PER_STEP
from spinfloor.core.detector.motion import MOTION_DTYPE
from spinfloor.core.events import PHASES, Phase
from spinfloor.core.plan.flatten import cards_record, settings_record
from spinfloor.core.plan.model import Aircraft, Card, Floors, Plan, Timing
from spinfloor.core.recovery import calls
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.core.recovery.decision import decide
from spinfloor.core.recovery.state import DECISION_DTYPE, new_decision

Array = npt.NDArray[Any]
START_NS = 1_700_000_000_000_000_000


def make_plan(rng: np.random.Generator, *, chute: bool | None = None) -> Plan:
    """Floors, leads and cards drawn at random."""
    fitted = bool(rng.random() < 0.5) if chute is None else chute
    abandon = float(rng.uniform(1_000, 6_000))
    recovery = abandon + float(rng.uniform(500, 5_000))
    speaking = float(rng.uniform(0.3, 1.5))
    return Plan(
        title="drawn",
        aircraft=Aircraft(name="drawn", chute_fitted=fitted),
        floors=Floors(
            recovery_ft=recovery,
            abandon_ft=abandon,
            chute_ft=float(rng.uniform(abandon, recovery)) if fitted else None,
            ground_elevation_ft=float(rng.uniform(-200, 900)),
        ),
        timing=Timing(
            reaction_s=float(rng.uniform(0.3, 2.0)),
            speaking_s=speaking,
            telemetry_age_s=float(rng.uniform(0.0, 1.0)),
            repeat_call_s=max(1.0, speaking) + float(rng.uniform(0.0, 2.0)),
            controls_not_slowing_turns=float(rng.uniform(1.0, 3.0)),
        ),
        cards=[
            Card(id=f"c{i}", direction="right", turns=float(rng.integers(1, 8)), entry_altitude_ft=30_000.0)
            for i in range(4)
        ],
    )


@dataclass(slots=True)
class Flight:
    """Records in time order, and the plan they are flown under."""

    plan: Plan
    motion: Array
    settings: Array = field(init=False)
    cards: Array = field(init=False)

    def __post_init__(self) -> None:
        self.settings = settings_record(self.plan)
        self.cards = cards_record(self.plan)


def level_records(n: int, rate_hz: float, altitude_m: float, start_ns: int = START_NS) -> Array:
    """n records of level flight."""
    out = np.zeros(n, MOTION_DTYPE)
    assert MOTION_DTYPE.fields is not None
    for name, field_type in MOTION_DTYPE.fields.items():
        if field_type[0] == np.float64:
            out[name] = np.nan
    out["time_ns"] = start_ns + np.round(np.arange(n) * 1e9 / rate_hz).astype(np.int64)
    out["frame_ns"] = out["time_ns"]
    out["phase"] = PHASES.index(Phase.FLIGHT)
    out["mode"] = -1
    out["power_on"] = -1
    out["altitude_m"] = altitude_m
    out["altitude_sd_m"] = 2.0
    out["sink_mps"] = 0.0
    for name in ("turns", "turns_about_vertical", "turns_sd", "rotation_radps"):
        out[name] = 0.0
    return out


@dataclass(frozen=True, slots=True)
class SpinShape:
    """How one spin goes."""

    entry_m: float
    sink_mps: float
    period_s: float
    known_s: float
    controls_s: float | None
    recovery_turns: float
    seconds: float
    orientation: int
    direction: int
    mode: int


def spin_records(shape: SpinShape, rate_hz: float, start_ns: int, ordinal: int, rng: np.random.Generator) -> Array:
    """A spin from its start to its end (or to the end of the records when it never ends), noise included."""
    n = max(int(shape.seconds * rate_hz), 3)
    out = level_records(n, rate_hz, shape.entry_m, start_ns)
    t = (out["time_ns"] - start_ns) * 1e-9
    building = 1.0 - np.exp(-t / 2.0)
    fallen = shape.sink_mps * (t - 2.0 * building)
    known = t >= shape.known_s
    turns = (t - 0.5 * building) / shape.period_s
    out["in_spin"] = known
    out["spin_ordinal"] = np.where(known, ordinal, ordinal - 1)
    out["spin_start_ns"] = start_ns
    out["orientation"] = np.where(known, shape.orientation, 0)
    out["direction"] = np.where(known, shape.direction, 0)
    out["mode"] = np.where(known & (t > shape.known_s + 2.0), shape.mode, -1)
    out["turns"] = turns
    out["turns_about_vertical"] = 0.9 * turns
    out["turn_period_s"] = shape.period_s
    out["rotation_radps"] = 2 * np.pi / shape.period_s
    out["rotation_at_recovery_radps"] = 2 * np.pi / shape.period_s
    out["sink_mps"] = shape.sink_mps * building * (1.0 + 0.05 * rng.standard_normal(n))
    out["sink_sd_mps"] = 0.05 * shape.sink_mps
    out["altitude_m"] = shape.entry_m - fallen + rng.uniform(0.0, 3.0) * rng.standard_normal(n)
    out["altitude_sd_m"] = 2.0
    whole = turns >= 1.0
    out["loss_per_turn_m"] = np.where(whole, shape.sink_mps * shape.period_s, np.nan)
    out["loss_per_turn_sd_m"] = np.where(whole, 6.0, np.nan)
    out["spin_start_altitude_m"] = shape.entry_m
    if shape.controls_s is not None:
        _put_controls_in(out, t, shape, known)
    return out


def _put_controls_in(out: Array, t: Array, shape: SpinShape, known: Array) -> None:
    assert shape.controls_s is not None
    active = known & (t >= shape.controls_s)
    if not active.any():
        return
    first = int(np.argmax(active))
    out["recovery_started"] = active
    out["recovery_started_now"][first] = 1
    out["recovery_source"] = np.where(active, 1, 0)
    out["recovery_start_turns"] = np.where(active, out["turns"][first], np.nan)
    out["recovery_start_altitude_m"] = np.where(active, out["altitude_m"][first], np.nan)
    out["recovery_start_ns"] = np.where(active, out["time_ns"][first], 0)


def dive_records(last: np.void, rate_hz: float, rng: np.random.Generator) -> Array:
    """From the end of a spin through the pull-out to level flight."""
    seconds = float(rng.uniform(4.0, 9.0))
    n = int(seconds * rate_hz)
    start = int(last["time_ns"]) + round(1e9 / rate_hz)
    out = level_records(n, rate_hz, float(last["altitude_m"]), start)
    loss = float(rng.uniform(200.0, 700.0))
    part = np.linspace(0.0, 1.0, n)
    out["altitude_m"] = float(last["altitude_m"]) - loss * np.sin(0.5 * np.pi * part)
    out["sink_mps"] = loss / seconds * np.cos(0.5 * np.pi * part)
    for name in (
        "spin_ordinal", "spin_start_ns", "orientation", "direction", "mode", "turns", "turns_about_vertical",
        "recovery_started", "recovery_source", "recovery_start_turns", "recovery_start_altitude_m", "loss_per_turn_m",
        "loss_per_turn_sd_m", "turn_period_s",
    ):  # fmt: skip
        out[name] = last[name]
    out["phase"] = PHASES.index(Phase.DIVE)
    out["spin_end_ns"] = last["time_ns"]
    out["spin_end_altitude_m"] = last["altitude_m"]
    out["spin_ended_now"][0] = 1
    out["level_now"][-1] = 1
    out["level_ns"][-1] = out["time_ns"][-1]
    out["level_altitude_m"][-1] = out["altitude_m"][-1]
    return out


def _flicker(out: Array, rng: np.random.Generator) -> None:
    """Flags that come and go, in and out of spins."""
    n = len(out)
    out["power_on"] = np.where(rng.random(n) < rng.uniform(0, 1), 1, 0)
    out["flattening"] = rng.random(n) < rng.uniform(0, 0.2)
    out["degraded"] = rng.random(n) < rng.uniform(0, 0.5)
    if rng.random() < 0.4:
        a, b = sorted(rng.integers(0, n, 2))
        if b > a + 2:
            out["data_lost_now"][a] = 1
            out["estimated"][a:b] = 1
            out["altitude_sd_m"][a:b] += np.linspace(0.0, 60.0, b - a)
            out["data_restored_now"][b] = 1


def make_flight(seed: int) -> Flight:
    """A sortie of one to three spins."""
    rng = np.random.default_rng(seed)
    plan = make_plan(rng)
    rate = float(rng.choice([5.0, 10.0, 20.0, 40.0]))
    parts = [level_records(int(3 * rate), rate, float(rng.uniform(2_000, 9_000)))]
    for ordinal in range(1, int(rng.integers(2, 5))):
        shape = _shape(rng, float(parts[-1]["altitude_m"][-1]) if ordinal > 1 else float(rng.uniform(1_500, 9_000)))
        start = int(parts[-1]["time_ns"][-1]) + round(1e9 / rate)
        spin = spin_records(shape, rate, start, ordinal, rng)
        if ordinal > 1 and rng.random() < 0.3:
            first = int(np.argmax(spin["in_spin"]))
            name = ("reversed_now", "restarted_now", "turned_inverted_now")[int(rng.integers(0, 3))]
            spin[name][first] = spin["in_spin"][first]
        _flicker(spin, rng)
        parts.append(spin)
        if not spin["in_spin"][-1]:
            break
        dive = dive_records(spin[-1], rate, rng)
        parts.append(dive)
        climb = level_records(int(4 * rate), rate, float(dive["altitude_m"][-1]) + 800.0, int(dive["time_ns"][-1]) + 1)
        climb["spin_ordinal"] = ordinal
        parts.append(climb)
    return Flight(plan, np.concatenate(parts))


def _shape(rng: np.random.Generator, entry_m: float) -> SpinShape:
    period = float(rng.uniform(1.2, 4.5))
    controls = float(rng.uniform(2.0, 25.0)) if rng.random() < 0.7 else None
    recovery_turns = float(rng.uniform(0.3, 4.0))
    seconds = float(rng.uniform(15.0, 60.0)) if controls is None else controls + recovery_turns * period
    return SpinShape(
        entry_m=entry_m,
        sink_mps=float(rng.uniform(25.0, 80.0)),
        period_s=period,
        known_s=float(rng.uniform(0.5, 2.5)),
        controls_s=controls,
        recovery_turns=recovery_turns,
        seconds=max(seconds, 4.0),
        orientation=int(rng.choice([-1, 1])),
        direction=int(rng.choice([-1, 1])),
        mode=int(rng.integers(-1, 4)),
    )


@numba.njit(cache=True)
def _run(motion, decision, beliefs, cards, settings, ints, floats, cursor, trace, step_of, first, last):  # type: ignore[no-untyped-def]  # compiled
    for i in range(first, last):
        before = cursor[0]
        decide(motion[i], decision[0], beliefs[0], cards, settings[0], ints, floats, cursor)
        step_of[before : cursor[0]] = i
        trace[i] = decision[0]


@dataclass(slots=True)
class Told:
    """What came out: the raw events, the step each came from, and the decision record after every step."""

    ints: Array
    floats: Array
    steps: Array
    trace: Array
    beliefs: Array
    decision: Array

    @property
    def calls(self) -> list[tuple[int, int, int, int]]:
        """(step, time_ns, call, reason) of every call."""
        return [
            (int(s), int(i[1]), int(f[calls.P_CALL]), int(f[calls.P_REASON]))
            for s, i, f in zip(self.steps, self.ints, self.floats, strict=True)
            if i[0] == CODE_CALL
        ]


def run(
    flight: Flight,
    *,
    decision: Array | None = None,
    beliefs: Array | None = None,
    first: int = 0,
    last: int | None = None,
) -> Told:
    """Drive the decision step over a flight's records first to last."""
    n = len(flight.motion) if last is None else last
    capacity = 8 * (n - first) + SLOTS_PER_STEP
    ints = np.zeros((capacity, 3), np.int64)
    floats = np.full((capacity, PAYLOAD_WIDTH), np.nan)
    cursor = np.zeros(1, np.int64)
    trace = np.zeros(len(flight.motion), DECISION_DTYPE)
    steps = np.zeros(capacity, np.int64)
    state = new_decision() if decision is None else decision
    believed = Beliefs.from_plan(flight.plan).record() if beliefs is None else beliefs
    _run(
        flight.motion, state, believed, flight.cards, flight.settings, ints, floats, cursor, trace, steps, first, n
    )  # fmt: skip
    count = int(cursor[0])
    return Told(ints[:count], floats[:count], steps[:count], trace, believed, state)
