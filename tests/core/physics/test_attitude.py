"""Carried attitude against scipy's Rotation."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from spinfloor.core.physics.attitude import (
    carry_vector,
    down_from_euler,
    down_from_quaternion,
    quaternion_from_euler,
    rotation_between,
    turned,
)

angle = st.floats(-3.0, 3.0)
pitch = st.floats(-1.57, 1.57)


@settings(max_examples=60, deadline=None)
@given(angle, pitch, angle, angle, angle, angle)
def test_carried_down_is_the_rotated_body(
    roll: float, theta: float, heading: float, a: float, b: float, c: float
) -> None:
    body = Rotation.from_euler("ZYX", [heading, theta, roll])
    later = body * Rotation.from_rotvec([a, b, c])
    expected = later.inv().apply([0.0, 0.0, 1.0])
    assert_allclose(carry_vector(*down_from_euler(roll, theta), a, b, c), expected, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(angle, pitch, angle)
def test_down_of_a_quaternion_is_the_rotated_one(roll: float, theta: float, heading: float) -> None:
    expected = Rotation.from_euler("ZYX", [heading, theta, roll]).inv().apply([0.0, 0.0, 1.0])
    assert_allclose(down_from_quaternion(*quaternion_from_euler(roll, theta, heading)), expected, atol=1e-12)
    assert_allclose(down_from_euler(roll, theta), expected, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(angle, pitch, angle, angle, angle, angle)
def test_rotation_between_attitudes(roll: float, theta: float, heading: float, a: float, b: float, c: float) -> None:
    first = Rotation.from_euler("ZYX", [heading, theta, roll])
    e = (first * Rotation.from_rotvec([a, b, c])).as_euler("ZYX")
    q0, q1 = quaternion_from_euler(roll, theta, heading), quaternion_from_euler(e[2], e[1], e[0])
    got = Rotation.from_rotvec(rotation_between(*q0, *q1))
    assert_allclose((got.inv() * Rotation.from_rotvec([a, b, c])).magnitude(), 0.0, atol=1e-7)


@settings(max_examples=60, deadline=None)
@given(angle, pitch, angle, st.floats(-9.0, 9.0), st.floats(-9.0, 9.0), st.floats(-9.0, 9.0))
def test_an_attitude_turned_by_any_rotation(
    roll: float, theta: float, heading: float, a: float, b: float, c: float
) -> None:
    expected = Rotation.from_euler("ZYX", [heading, theta, roll]) * Rotation.from_rotvec([a, b, c])
    w, x, y, z = turned(*quaternion_from_euler(roll, theta, heading), a, b, c)
    assert_allclose((Rotation.from_quat([x, y, z, w]).inv() * expected).magnitude(), 0.0, atol=1e-7)


def test_many_small_steps_make_one_turn() -> None:
    down = (0.0, 0.6, 0.8)
    for _ in range(1000):
        down = carry_vector(*down, 0.0, 0.0, 2 * np.pi / 1000)
    assert_allclose(down, (0.0, 0.6, 0.8), atol=1e-12)
