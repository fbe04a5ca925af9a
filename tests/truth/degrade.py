"""What a recorder and a link do to a perfect flight: rate, noise, quantisation, lag, bias, rails, faults, lost frames.

`DEGRADATIONS` maps a name to a function of a `Record` and a random generator. The truth never changes; where the
clock does, `Record.jumps` says by how much, so that an event's time can be taken back to the flight's own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from tests.truth.flight import REQUIRED, START_NS, Flight

Floats = NDArray[np.float64]
Rng = np.random.Generator
RATES = ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps")
NOISE = {
    "roll_rate_dps": 0.4, "pitch_rate_dps": 0.4, "yaw_rate_dps": 0.4, "pressure_altitude_ft": 6.0, "roll_deg": 0.4,
    "pitch_deg": 0.4, "heading_deg": 0.6, "alpha_deg": 0.8, "beta_deg": 0.8, "calibrated_airspeed_kt": 1.5,
    "longitudinal_load_g": 0.01, "lateral_load_g": 0.01, "normal_load_g": 0.03, "stick_aft_pct": 0.8,
    "stick_right_pct": 0.8, "pedal_right_pct": 0.8, "throttle_pct": 0.5,
}  # fmt: skip
LEAST_COUNT = {
    "roll_rate_dps": 0.5, "pitch_rate_dps": 0.5, "yaw_rate_dps": 0.5, "pressure_altitude_ft": 20.0, "roll_deg": 0.7,
    "pitch_deg": 0.7, "heading_deg": 1.0, "alpha_deg": 1.0, "beta_deg": 1.0, "calibrated_airspeed_kt": 2.0,
    "longitudinal_load_g": 0.02, "lateral_load_g": 0.02, "normal_load_g": 0.05, "stick_aft_pct": 2.0,
    "stick_right_pct": 2.0, "pedal_right_pct": 2.0, "throttle_pct": 2.0,
}  # fmt: skip
LAG_S = {"pressure_altitude_ft": 1.5, "calibrated_airspeed_kt": 0.8, "alpha_deg": 0.15, "beta_deg": 0.15}
LAG_S |= dict.fromkeys(RATES, 0.02)


@dataclass(frozen=True)
class Record:
    """Frames in arrival order. spins: (start, end) s of the true spins, for faults that must fall inside one."""

    time_ns: NDArray[np.int64]
    columns: dict[str, Floats]
    spins: tuple[tuple[float, float], ...]
    altimeter_lag_s: float = 0.0
    yaw_range_dps: float = 400.0
    roll_range_dps: float = 400.0
    jumps: tuple[tuple[float, float], ...] = field(default=())

    def keep(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> Record:
        """Some frames, in the order of `index`."""
        return replace(
            self, time_ns=self.time_ns[index].copy(), columns={k: v[index].copy() for k, v in self.columns.items()}
        )

    def with_columns(self, changes: dict[str, Floats]) -> Record:
        """Some columns replaced."""
        return replace(self, columns={**self.columns, **changes})

    @property
    def seconds(self) -> Floats:
        """Recorded time, s since the flight's start."""
        return np.asarray((self.time_ns - START_NS) * 1e-9)


def pristine(flight: Flight, rate_hz: float = 100.0) -> Record:
    """The flight sampled at a rate (nearest base sample), nothing else."""
    base = float(np.median(np.diff(flight.time_s)))
    step = max(1, round(1.0 / rate_hz / base))
    index = np.arange(0, len(flight.time_s), step)
    spins = tuple(
        (s["start_s"], s["spin_end_s"] if s["spin_end_s"] is not None else float(flight.time_s[-1]))
        for s in flight.truth["spins"]
    )
    return Record(flight.time_ns, flight.columns, spins).keep(index)


def required_five(record: Record) -> Record:
    """Time, three rates, pressure altitude; nothing else."""
    return replace(record, columns={k: record.columns[k] for k in REQUIRED})


def noise(record: Record, rng: Rng, times: float = 1.0) -> Record:
    """White noise of NOISE's standard deviations, times a factor."""
    n = len(record.time_ns)
    out = {k: v + times * NOISE[k] * rng.standard_normal(n) for k, v in record.columns.items() if k in NOISE}
    if "heading_deg" in out:
        out["heading_deg"] = np.mod(out["heading_deg"], 360.0)
    return record.with_columns(out)


def quantised(record: Record, rng: Rng) -> Record:
    """Rounded to a coarse encoder's least count."""
    return record.with_columns({k: np.round(v / LEAST_COUNT[k]) * LEAST_COUNT[k] for k, v in record.columns.items()})


def lagged(record: Record, rng: Rng) -> Record:
    """First-order instrument lag; the plan states the altimeter's."""
    t = record.seconds
    out = {}
    for name, tau in LAG_S.items():
        if name in record.columns:
            out[name] = _first_order(t, record.columns[name], tau)
    return replace(record.with_columns(out), altimeter_lag_s=LAG_S["pressure_altitude_ft"])


def _first_order(t: Floats, x: Floats, tau: float) -> Floats:
    """Step-invariant first-order lag at the record's (constant) step."""
    decay = float(np.exp(-np.median(np.diff(t)) / tau))
    out, _ = lfilter([1.0 - decay], [1.0, -decay], x, zi=[decay * x[0]])
    return np.asarray(out)


def biased(record: Record, rng: Rng) -> Record:
    """Constant gyro offsets up to 1 deg/s, 1 deg of attitude and vane, 40 ft."""
    size = {**dict.fromkeys(RATES, 1.0), "roll_deg": 1.0, "pitch_deg": 1.0, "alpha_deg": 1.0, "beta_deg": 1.5}
    size["pressure_altitude_ft"] = 40.0
    return record.with_columns(
        {k: record.columns[k] + rng.uniform(-v, v) for k, v in size.items() if k in record.columns}
    )


def clipped_yaw(record: Record, rng: Rng) -> Record:
    """The yaw gyro's rail at 60 % of the largest rate; the plan states it."""
    rail = max(20.0, 0.6 * float(np.abs(record.columns["yaw_rate_dps"]).max()))
    clipped = np.clip(record.columns["yaw_rate_dps"], -rail, rail)
    return replace(record.with_columns({"yaw_rate_dps": clipped}), yaw_range_dps=rail)


def _inside(record: Record, rng: Rng, length_s: float) -> tuple[float, float]:
    """A stretch inside a true spin if there is one, else anywhere."""
    t = record.seconds
    spans = [(a, b - length_s) for a, b in record.spins if b - a > length_s + 0.5]
    low, high = spans[int(rng.integers(len(spans)))] if spans else (float(t[0]), max(float(t[-1]) - length_s, 0.0))
    start = float(rng.uniform(low, max(low + 1e-3, high)))
    return start, start + length_s


def stuck(record: Record, rng: Rng) -> Record:
    """One channel holds its value for 1-3 s in the spin: alpha, bank, airspeed or normal load, else pitch rate."""
    optional = [c for c in ("alpha_deg", "roll_deg", "calibrated_airspeed_kt", "normal_load_g") if c in record.columns]
    name = str(rng.choice(optional)) if optional else "pitch_rate_dps"
    a, b = _inside(record, rng, float(rng.uniform(1.0, 3.0)))
    t = record.seconds
    column = record.columns[name].copy()
    hold = (t >= a) & (t < b)
    if hold.any():
        column[hold] = column[np.argmax(hold)]
    return record.with_columns({name: column})


def zero_bursts(record: Record, rng: Rng) -> Record:
    """Every channel reads zero for 0.05-0.4 s, several times, once inside a spin."""
    t = record.seconds
    columns = {k: v.copy() for k, v in record.columns.items()}
    starts = [*rng.uniform(t[0], t[-1], size=4).tolist(), _inside(record, rng, 0.4)[0]]
    for start in starts:
        burst = (t >= start) & (t < start + rng.uniform(0.05, 0.4))
        for column in columns.values():
            column[burst] = 0.0
    return replace(record, columns=columns)


def wild_points(record: Record, rng: Rng) -> Record:
    """Half a percent of all values replaced by nonsense."""
    columns = {}
    for name, values in record.columns.items():
        bad = rng.random(len(values)) < 0.005
        columns[name] = np.where(
            bad, rng.choice([-1.0, 1.0], len(values)) * 10 ** rng.uniform(2.5, 5, len(values)), values
        )
    return record.with_columns(columns)


def gaps(record: Record, rng: Rng) -> Record:
    """Two gaps of up to 2 s, one of them inside a spin."""
    t = record.seconds
    keep = np.ones(len(t), dtype=bool)
    length = float(rng.uniform(0.6, 2.0))
    a, b = _inside(record, rng, length)
    keep &= (t < a) | (t >= b)
    start = float(rng.uniform(t[0], t[-1] - 2.0))
    keep &= (t < start) | (t >= start + rng.uniform(0.2, 2.0))
    return record.keep(keep)


def missing_values(record: Record, rng: Rng) -> Record:
    """Two percent of the values are not there (NaN), channel by channel."""
    return record.with_columns({k: np.where(rng.random(len(v)) < 0.02, np.nan, v) for k, v in record.columns.items()})


def jitter(record: Record, rng: Rng) -> Record:
    """Time stamps off by up to 0.4 of the sampling step, order kept."""
    step = float(np.median(np.diff(record.time_ns)))
    shift = rng.uniform(-0.4, 0.4, len(record.time_ns)) * step
    return replace(record, time_ns=record.time_ns + np.rint(shift).astype(np.int64))


def duplicates(record: Record, rng: Rng) -> Record:
    """Three percent of the frames come twice."""
    times = 1 + (rng.random(len(record.time_ns)) < 0.03).astype(np.intp)
    return record.keep(np.repeat(np.arange(len(record.time_ns)), times))


def out_of_order(record: Record, rng: Rng) -> Record:
    """Three percent of the frames come 1-6 places late."""
    n = len(record.time_ns)
    late = (rng.random(n) < 0.03) * rng.integers(1, 7, n)
    return record.keep(np.argsort(np.arange(n) + late + 0.5 * (late > 0), kind="stable"))


def clock_steps(record: Record, rng: Rng) -> Record:
    """A handful of frames stamped 5 s early, twice."""
    time_ns = record.time_ns.copy()
    for _ in range(2):
        i = int(rng.integers(20, len(time_ns) - 20))
        time_ns[i : i + int(rng.integers(1, 8))] -= 5_000_000_000
    return replace(record, time_ns=time_ns)


def clock_jump(record: Record, rng: Rng) -> Record:
    """The clock jumps 40 s forward for good, outside a spin."""
    t = record.seconds
    before = record.spins[0][0] if record.spins else float(t[-1])
    at = float(rng.uniform(0.2, max(0.3, 0.6 * before)))
    time_ns = record.time_ns + np.where(t >= at, 40_000_000_000, 0).astype(np.int64)
    return replace(record, time_ns=time_ns, jumps=((at, 40.0),))


def pitot_static(record: Record, rng: Rng) -> Record:
    """Static-pressure error that repeats once per turn: 25 ft and 4 kt, in phase with the turn itself.

    The turn is that of the whole rotation: yaw alone is only sin(alpha) of it.
    """
    p, q, r = (record.columns[name] for name in RATES)
    rotation = np.sqrt(p * p + q * q + r * r)
    phase = np.radians(np.cumsum(np.copysign(rotation, r)) * float(np.median(np.diff(record.seconds))))
    swing = np.sin(phase) * np.minimum(1.0, np.abs(r) / 30.0)
    out = {"pressure_altitude_ft": record.columns["pressure_altitude_ft"] + 25.0 * swing}
    if "calibrated_airspeed_kt" in record.columns:
        out["calibrated_airspeed_kt"] = record.columns["calibrated_airspeed_kt"] + 4.0 * swing
    return record.with_columns(out)


def pegged_vanes(record: Record, rng: Rng) -> Record:
    """Alpha vane stops at -8 and +32 deg, beta at +-15 deg."""
    out = {}
    if "alpha_deg" in record.columns:
        out["alpha_deg"] = np.clip(record.columns["alpha_deg"], -8.0, 32.0)
        out["beta_deg"] = np.clip(record.columns["beta_deg"], -15.0, 15.0)
    return record.with_columns(out)


def dirty(record: Record, rng: Rng) -> Record:
    """Everything mild at once, the way a real recorder does it."""
    for step in (lagged, biased, noise, quantised, jitter, duplicates, wild_points, gaps):
        record = step(record, rng)
    return record


Fault = Callable[[Record, Rng], Record]
DEGRADATIONS: dict[str, tuple[float, Fault | None]] = {
    "none, 100 Hz": (100.0, None),
    "10 Hz": (10.0, None),
    "25 Hz": (25.0, None),
    "50 Hz": (50.0, None),
    "200 Hz": (200.0, None),
    "noise": (100.0, noise),
    "noise x4, 50 Hz": (50.0, lambda r, g: noise(r, g, 4.0)),
    "noise, 10 Hz": (10.0, noise),
    "quantised": (50.0, quantised),
    "lag": (100.0, lagged),
    "bias": (100.0, biased),
    "clipped yaw gyro": (100.0, clipped_yaw),
    "stuck channel": (100.0, stuck),
    "zero bursts": (100.0, zero_bursts),
    "wild points": (100.0, wild_points),
    "gaps to 2 s": (50.0, gaps),
    "missing values": (100.0, missing_values),
    "jitter": (50.0, jitter),
    "duplicates": (100.0, duplicates),
    "out of order": (100.0, out_of_order),
    "clock steps": (100.0, clock_steps),
    "clock jump": (50.0, clock_jump),
    "pitot-static": (100.0, pitot_static),
    "pegged vanes": (100.0, pegged_vanes),
    "dirty recorder, 25 Hz": (25.0, dirty),
    "dirty recorder, 100 Hz": (100.0, dirty),
}


def degraded(flight: Flight, name: str, *, five: bool = False, seed: int = 0) -> Record:
    """One flight through one degradation, optionally with the required columns only."""
    rate, fault = DEGRADATIONS[name]
    record = pristine(flight, rate)
    if five:
        record = required_five(record)
    if fault is None:
        return record
    rng = np.random.default_rng([seed, flight.seed, list(DEGRADATIONS).index(name), int(five)])
    return fault(record, rng)
