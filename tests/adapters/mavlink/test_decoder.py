"""MAVLink bytes to samples: packet vectors computed apart from this project, and pymavlink's own packer as the peer."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common

from spinfloor.adapters.mavlink import MavlinkDecoder
from spinfloor.adapters.mavlink.samples import units

ATTITUDE = bytes.fromhex(
    "fd1c00000701011e000039300000 00000000 db0f49bf 4ee43d40 2190bd3f 00000000 2190bd3f b034".replace(" ", "")
)
POSITION = bytes.fromhex(
    "fd1c0000080101210000393000 00805ed01480f0bcb940822e00a025260064 00ceffdc1168429030".replace(" ", "")
)
IMU = bytes.fromhex("fd10000009 01011a0000 393000009cff14007afac9050000c9054262".replace(" ", ""))


def _packer(system: int = 1) -> Any:
    return common.MAVLink(None, srcSystem=system, srcComponent=1)


def _attitude(mav: Any, ms: int, p: float = 1.0) -> bytes:
    message = common.MAVLink_attitude_message(ms, 0.0, -0.7, 2.9, p, 0.0, 1.4)
    packed: bytes = message.pack(mav)
    mav.seq = (mav.seq + 1) % 256
    return packed


def test_published_vectors() -> None:
    """45-degree, 3-second right spin: p = r = 84.8528 deg/s; 10,000 ft; 150 ft/s down; 1,481 mrad/s."""
    decoder = MavlinkDecoder()
    attitude, position, imu = decoder.take(ATTITUDE + POSITION + IMU, 1_000_000_000_000)
    assert math.degrees(attitude.values["ATTITUDE.rollspeed"]) == pytest.approx(84.8528, abs=1e-4)
    assert math.degrees(attitude.values["ATTITUDE.pitch"]) == pytest.approx(-45.0, abs=1e-4)
    assert math.degrees(attitude.values["ATTITUDE.yaw"]) == pytest.approx(170.0, abs=1e-4)
    assert position.values["GLOBAL_POSITION_INT.alt"] == 3_048_000
    assert position.values["GLOBAL_POSITION_INT.vz"] == 4572
    assert imu.values["SCALED_IMU.xgyro"] == imu.values["SCALED_IMU.zgyro"] == 1481
    assert imu.values["SCALED_IMU.zacc"] == -1414
    assert decoder.counts.lost == 0
    assert {attitude.time_ns, position.time_ns, imu.time_ns} == {1_000_000_000_000}


def test_units_are_the_protocols_own() -> None:
    stated = units(common)
    assert stated["ATTITUDE.rollspeed"] == "rad/s"
    assert stated["SCALED_IMU.xgyro"] == "mrad/s"
    assert stated["SCALED_IMU.zacc"] == "mG"
    assert stated["SCALED_PRESSURE.press_abs"] == "hPa"
    assert stated["GLOBAL_POSITION_INT.alt"] == "mm"


def test_flipped_bit_costs_one_message_and_counts_as_lost() -> None:
    mav = _packer()
    packets = [_attitude(mav, 1000 + 10 * k) for k in range(3)]
    damaged = packets[1][:20] + bytes([packets[1][20] ^ 4]) + packets[1][21:]
    decoder = MavlinkDecoder()
    samples = decoder.take(packets[0] + damaged + packets[2], 0)
    assert len(samples) == 2
    assert decoder.counts.lost == 1
    assert decoder.counts.damaged_bytes == len(damaged)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 90), max_size=12), st.binary(max_size=40))
def test_any_cut_and_any_garbage_before(cuts: list[int], garbage: bytes) -> None:
    garbage = bytes(b for b in garbage if b not in (0xFD, 0xFE))
    mav = _packer()
    stream = garbage + b"".join(_attitude(mav, 1000 + 10 * k, p=k) for k in range(5))
    edges = sorted({0, len(stream), *(min(c * 3, len(stream)) for c in cuts)})
    decoder = MavlinkDecoder()
    samples = [s for a, b in itertools.pairwise(edges) for s in decoder.take(stream[a:b], 0)]
    assert [s.values["ATTITUDE.rollspeed"] for s in samples] == [0, 1, 2, 3, 4]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_random_bytes_never_fail(data: bytes) -> None:
    decoder = MavlinkDecoder()
    decoder.take(b"\xfd" + data, 0)
    decoder.take(b"\xfe" + data, 0)


def test_millisecond_count_wraps_and_restarts() -> None:
    """The 32-bit count of milliseconds wraps after 49.71 days."""
    mav, decoder = _packer(), MavlinkDecoder()
    top = (1 << 32) - 5
    a, b = (decoder.take(_attitude(mav, ms), 0)[0].time_ns for ms in (top, 5))
    assert b - a == 10_000_000
    restarted = decoder.take(_attitude(_packer(), 5000), 10**12)
    assert restarted[0].time_ns - b == pytest.approx(5e9 - 5e6, abs=1)
    decoder.take(_attitude(mav, 60_000), 0)
    back = decoder.take(_attitude(mav, 100), 77_000_000_000)
    assert back[0].time_ns == 77_000_000_000
    assert decoder.counts.restarts == 1


def test_another_vehicle_is_not_mixed_in() -> None:
    decoder = MavlinkDecoder()
    first = decoder.take(_attitude(_packer(1), 1000), 0)
    other = decoder.take(_attitude(_packer(2), 1000), 0)
    assert (len(first), len(other), decoder.counts.foreign) == (1, 0, 1)
    chosen = MavlinkDecoder(system=2)
    assert len(chosen.take(_attitude(_packer(1), 1000) + _attitude(_packer(2), 1000), 0)) == 1


def test_quaternion_gives_angles() -> None:
    """A rotation of 30 degrees about the down axis, then 40 nose down, then 50 right wing down, by half-angles."""
    roll, pitch, yaw = math.radians(50), math.radians(-40), math.radians(30)
    (cr, sr), (cp, sp), (cy, sy) = ((math.cos(a / 2), math.sin(a / 2)) for a in (roll, pitch, yaw))
    q = (
        cr * cp * cy + sr * sp * sy,
        sr * cp * cy - cr * sp * sy,
        cr * sp * cy + sr * cp * sy,
        cr * cp * sy - sr * sp * cy,
    )
    mav = _packer()
    message = common.MAVLink_attitude_quaternion_message(1000, *q, 0.1, 0.2, 0.3)
    (sample,) = MavlinkDecoder().take(message.pack(mav), 0)
    found = [math.degrees(sample.values[f"ATTITUDE_QUATERNION.{n}"]) for n in ("roll", "pitch", "yaw")]
    assert found == pytest.approx([50, -40, 30], abs=1e-4)
