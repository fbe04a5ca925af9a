"""The rotary-balance simulator against mechanics and textbook relations: conservation, symmetry, scaling, autorotation.

Steady spin about a vertical path: p = Omega cos(alpha), r = Omega sin(alpha), resultant load 1/sin(alpha) normal to the
chord, and the nose-down moment of the air against the nose-up one of the masses, (Izz - Ixx) p r (derived in
docs/method/truth.md; topic list of USAF Test Pilot School, Flying Qualities Phase Vol. II, ch. 10).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.truth.atmosphere import density
from tests.truth.rotary import card as c
from tests.truth.rotary import loop, motion
from tests.truth.rotary.card import Card
from tests.truth.rotary.flights import SITUATIONS, build, credible, entries
from tests.truth.rotary.fly import Sky, rows_of, stall_speed
from tests.truth.rotary.shape import KINDS, Shape, drawn
from tests.truth.rotary.tables import ALPHA_DEG, ROTATION, rotary, static

Floats = NDArray[np.float64]


def _even(kind: str, seed: int = 3) -> Shape:
    """Nothing in it that tells left from right, and nothing random."""
    shape = drawn(kind, np.random.default_rng(seed))
    return replace(shape, asymmetry_roll=0.0, asymmetry_yaw=0.0, buffet=0.0, rotor_nms=0.0, slipstream=0.0)


def _held(d: int, turns: float = 8.0) -> Card:
    card = Card(0.2, 0.2).cruise(2.0, throttle=0.4)
    card.then((c.ALPHA_ABOVE, 0.24), 40.0, lon=(c.CLIMB, 0.0), throttle=0.0, cap=2.0)
    return card.put((c.TURNS, turns), 60.0, aft=1.0, pedal=float(d), ramp_s=0.3)


def _rows(shape: Shape, card: Card, height_m: float = 6500.0) -> Floats:
    return rows_of(shape, card, Sky(height_m, 1.35 * stall_speed(shape, height_m), tremor=0.0), 0)


def _settled(rows: Floats, turns: float = 2.0) -> Floats:
    """The last turns about the vertical."""
    return np.asarray(rows[np.abs(rows[:, loop.TV] - rows[-1, loop.TV]) < turns])


def test_without_air_energy_and_momentum_stay() -> None:
    """Torque-free tumbling: kinetic energy of rotation, and the momentum vector in the Earth frame, over ten seconds."""
    shape = replace(_even("jet"), area_m2=0.0, thrust_n=0.0)
    inertia = np.array(
        [[shape.ixx_kgm2, 0, -shape.ixz_kgm2], [0, shape.iyy_kgm2, 0], [-shape.ixz_kgm2, 0, shape.izz_kgm2]]
    )
    s = np.zeros(motion.STATE)
    s[2], s[3], s[6], s[10:13] = 9000.0, 40.0, 1.0, (1.2, 0.4, -0.9)
    tables = static(shape), rotary(shape)
    k, trial, fm, air = np.zeros((4, motion.STATE)), np.zeros(motion.STATE), np.zeros(6), np.zeros(3)
    before = (s[10:13] @ inertia @ s[10:13], np.array(motion.to_earth(s, *(inertia @ s[10:13]))))
    energy = 0.5 * 40.0**2 + motion.G0 * s[2]
    for _ in range(2000):
        motion.step(shape.array, *tables, s, np.zeros(4), np.zeros(4), np.zeros(3), loop.STEP_S, k, trial, fm, air)
    np.testing.assert_allclose(s[10:13] @ inertia @ s[10:13], before[0], rtol=1e-9)
    np.testing.assert_allclose(motion.to_earth(s, *(inertia @ s[10:13])), before[1], rtol=1e-6, atol=1e-3)
    assert 0.5 * (s[3:6] @ s[3:6]) + motion.G0 * s[2] == pytest.approx(energy, rel=1e-9)


def test_the_air_only_takes_energy_with_the_engine_off() -> None:
    """Height and speed together never rise in still air, spinning or not (rotation's own energy counted)."""
    for kind in KINDS:
        shape = replace(_even(kind), thrust_n=0.0)
        rows = _rows(shape, _held(1, 3.0))
        v, w = rows[:, loop.SUNK - 2 : loop.SUNK + 1], rows[:, loop.P : loop.P + 3]
        turning = shape.ixx_kgm2 * w[:, 0] ** 2 + shape.iyy_kgm2 * w[:, 1] ** 2 + shape.izz_kgm2 * w[:, 2] ** 2
        turning -= 2 * shape.ixz_kgm2 * w[:, 0] * w[:, 2]
        energy = shape.mass_kg * (0.5 * (v**2).sum(axis=1) + motion.G0 * rows[:, loop.H]) + 0.5 * turning
        per_second = np.diff(energy[::200]) / shape.mass_kg / motion.G0
        assert per_second.max() < 0.0, kind


def test_left_mirrors_right() -> None:
    """Control, rates, bank and the counters change sign; height, alpha and speed don't."""
    shape = _even("aerobatic")
    right, left = _rows(shape, _held(1, 4.0)), _rows(shape, _held(-1, 4.0))
    n = min(len(right), len(left))
    for index, sign in ((loop.P, -1), (loop.P + 1, 1), (loop.P + 2, -1), (loop.TV, -1), (loop.TFP, -1), (loop.H, 1)):
        np.testing.assert_allclose(left[:n, index], sign * right[:n, index], atol=1e-5)


@pytest.mark.parametrize("kind", ["trainer", "jet", "wing-heavy", "sailplane", "heavy single"])
def test_the_steady_spin_obeys_the_textbook(kind: str) -> None:
    """Means over the last two of eight turns; the path is a helix a few degrees from the vertical, hence the tolerances."""
    shape = _even(kind)
    rows = _settled(_rows(shape, _held(1)))
    p, r, omega = rows[:, loop.P].mean(), rows[:, loop.P + 2].mean(), rows[:, loop.OMEGA_V].mean()
    alpha = np.arctan2(rows[:, loop.AIR + 2], rows[:, loop.AIR]).mean()
    assert np.degrees(np.arctan2(r, p)) == pytest.approx(np.degrees(alpha), abs=8.0)
    assert np.hypot(p, r) == pytest.approx(omega, rel=0.05)
    load = -rows[:, loop.FORCE + 2].mean() / (shape.mass_kg * motion.G0)
    assert load == pytest.approx(1.0 / np.sin(alpha), rel=0.15)
    assert shape.stall_rad < alpha < np.radians(75.0)


def test_the_air_s_pitching_moment_balances_the_masses() -> None:
    """Mean of the table's own moment at the settled state against (Izz - Ixx) p r, within 5 %."""
    shape = _even("jet")
    rows = _settled(_rows(shape, _held(1)))
    tables, fm = (static(shape), rotary(shape)), np.zeros(6)
    aero = []
    for row in rows[::10]:
        motion.forces(
            shape.array, *tables, float(density(row[loop.H])), row[loop.AIR : loop.AIR + 3], row[loop.P : loop.P + 3],
            row[motion.STATE], row[loop.HANDS : loop.HANDS + 4], np.zeros(3), fm,
        )  # fmt: skip
        aero.append(fm[4])
    p, r = rows[::10, loop.P], rows[::10, loop.P + 2]
    masses = ((shape.izz_kgm2 - shape.ixx_kgm2) * p * r + shape.ixz_kgm2 * (r * r - p * p)).mean()
    assert np.mean(aero) == pytest.approx(-masses, rel=0.05)


def test_a_larger_aircraft_turns_slower() -> None:
    """Froude: lengths times 1.4 at the same density of the craft, periods times sqrt(1.4); thinner air lower down, hence 6 %."""
    small = _even("trainer")
    k = 1.4
    big = replace(
        small, mass_kg=small.mass_kg * k**3, area_m2=small.area_m2 * k**2, span_m=small.span_m * k, chord_m=small.chord_m * k,
        ixx_kgm2=small.ixx_kgm2 * k**5, iyy_kgm2=small.iyy_kgm2 * k**5, izz_kgm2=small.izz_kgm2 * k**5,
        ixz_kgm2=small.ixz_kgm2 * k**5, thrust_n=small.thrust_n * k**3,
    )  # fmt: skip
    rates = [_settled(_rows(s, _held(1, 6.0)))[:, loop.OMEGA_V].mean() for s in (small, big)]
    assert rates[0] / rates[1] == pytest.approx(k**0.5, rel=0.06)


def test_the_tables_are_odd_in_the_rotation_and_damp_a_wing_that_flies() -> None:
    table = rotary(_even("trainer"))
    np.testing.assert_allclose(table[:, ::-1, :2], -table[:, :, :2], atol=1e-12)
    np.testing.assert_allclose(table[:, ::-1, 2], table[:, :, 2], atol=1e-12)
    roll = table[:, :, 0]
    fast = ROTATION > 0.3
    flying = np.abs(ALPHA_DEG) < 8.0
    assert (roll[flying][:, fast] < 0.0).all()
    # autorotation: propelling at little rotation somewhere past the stall, damping at much
    past = (ALPHA_DEG > 20.0) & (ALPHA_DEG < 35.0)
    assert roll[past][:, (ROTATION > 0.0) & (ROTATION < 0.15)].max() > 0.0
    assert (roll[past][:, ROTATION > 0.6] < 0.0).all()


def test_the_catalogue_names_every_situation_and_its_draws_are_credible() -> None:
    listed = entries()
    assert {name for name, _ in listed} == set(SITUATIONS)
    for name, seed in listed[::29]:
        assert credible(build(name, seed)), (name, seed)
