"""MAVLink logs packed by pymavlink, read without a channel map: the protocol states every unit."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pymavlink.dialects.v20 import common

from spinfloor.adapters.recordings import RecordingError, read_recording

START_USEC = 1_935_910_800_000_000


def _log(count: int, *, pressure: bool = True) -> Iterator[bytes]:
    """Attitude at 50 Hz, pressure and accelerations at 10 Hz: a right spin from 10,000 ft, 69,681.6 Pa."""
    mav = common.MAVLink(None, srcSystem=1, srcComponent=1)
    for k in range(count):
        ms = 5000 + 20 * k
        messages = [common.MAVLink_attitude_message(ms, 0.0, -0.785398, 1.0, 1.480961, 0.0, 1.480961)]
        if k % 5 == 0:
            if pressure:
                messages.append(common.MAVLink_scaled_pressure_message(ms, 696.816, 5.0, 2000))
            messages.append(common.MAVLink_scaled_imu_message(ms, -100, 20, -1414, 1481, 0, 1481, 0, 0, 0))
            messages.append(common.MAVLink_vfr_hud_message(51.4444, 50.0, 57, 25, 3000.0, -45.0))
        for message in messages:
            yield struct.pack(">Q", START_USEC + 20_000 * k) + message.pack(mav)
            mav.seq = (mav.seq + 1) % 256


def test_log(tmp_path: Path) -> None:
    path = tmp_path / "flight.tlog"
    path.write_bytes(b"".join(_log(200)))
    recording = read_recording(path)
    columns = recording.block.to_columns()
    assert len(recording.block) == 200
    assert recording.block.time_ns[0] == START_USEC * 1000
    assert set(np.diff(recording.block.time_ns).tolist()) == {20_000_000}
    assert_allclose(columns["roll_rate_dps"], 84.8528, atol=1e-4)
    assert_allclose(columns["pressure_altitude_ft"], 10_000, atol=0.5)
    assert_allclose(columns["normal_load_g"], 1.414, rtol=1e-6)
    assert_allclose(columns["longitudinal_load_g"], -0.1, rtol=1e-6)
    assert_allclose(columns["calibrated_airspeed_kt"], 100.0, rtol=1e-5)
    assert_allclose(columns["throttle_pct"], 25.0)
    assert_allclose(columns["pitch_deg"], -45.0, atol=1e-3)
    assert recording.notes == ()


def test_damage_is_passed_over_and_listed(tmp_path: Path) -> None:
    packets = list(_log(200))
    packets[30] = packets[30][:25] + b"\x55\xaa" + packets[30][27:]
    data = b"".join(packets[:60]) + b"\x00garbage\xfd\x01" + b"".join(packets[60:])
    path = tmp_path / "flight.tlog"
    path.write_bytes(data[:-5])
    recording = read_recording(path)
    notes = " | ".join(n.sentence for n in recording.notes)
    assert "wrong checksum" in notes
    assert "are no packet; passed over" in notes
    assert "cut short by the end" in notes
    assert 195 <= len(recording.block) <= 200


def test_gps_altitude_is_not_taken_for_pressure_altitude(tmp_path: Path) -> None:
    path = tmp_path / "flight.tlog"
    path.write_bytes(b"".join(_log(20, pressure=False)))
    with pytest.raises(RecordingError, match="static pressure"):
        read_recording(path)
    columns = {
        "roll_rate_dps": {"source": "ATTITUDE.rollspeed"},
        "pitch_rate_dps": {"source": "ATTITUDE.pitchspeed"},
        "yaw_rate_dps": {"source": "ATTITUDE.yawspeed"},
        "pressure_altitude_ft": {"source": "VFR_HUD.alt"},
    }
    assert_allclose(read_recording(path, {"columns": columns}).block.values[:, 3], 3000.0)


def test_random_bytes_behind_a_good_start(tmp_path: Path) -> None:
    path = tmp_path / "flight.tlog"
    path.write_bytes(b"".join(_log(3)) + np.random.default_rng(5).bytes(5000))
    assert len(read_recording(path).block) >= 3
