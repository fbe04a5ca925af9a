"""A source's own names, units, signs, scales, rates and delays through a channel map.

Unit factors are checked against the defining constants: 1 rad = 57.29578 deg, 1 kt = 1852 m per hour (by definition),
1 g = 9.80665 m/s2 (by definition). Pressure altitude against the standard atmosphere: 10,000 ft is 69,681.6 Pa.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from spinfloor.adapters.recordings import RecordingError, read_recording
from spinfloor.core.channels import (
    CALIBRATED_AIRSPEED,
    NORMAL_LOAD,
    PEDAL_RIGHT,
    PITCH_RATE,
    PRESSURE_ALTITUDE,
    ROLL_RATE,
    YAW_RATE,
)

MAP: dict[str, Any] = {
    "time": {"source": "TIME", "unit": "ms", "start": "2031-05-07T09:00:00Z"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "rad/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "mrad/s", "sign": -1},
        "yaw_rate_dps": {"source": "R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "PS", "unit": "Pa", "hold_s": 0.25},
        "calibrated_airspeed_kt": {"source": "VC", "unit": "m/s"},
        "normal_load_g": {"source": "NZ", "unit": "m/s^2", "sign": -1},
        "pedal_right_pct": {"source": "RUD", "unit": "%", "scale": 4.0, "offset": -10.0},
    },
}
START_NS = 1_935_910_800_000_000_000  # date -u -d 2031-05-07T09:00:00Z +%s


def _with(changes: dict[str, dict[str, object]], **top: object) -> dict[str, object]:
    columns = {name: dict(c) for name, c in MAP["columns"].items()}
    for name, fields in changes.items():
        columns[name] = columns.get(name, {}) | fields
    return {**MAP, "columns": columns, **top}


def _file(tmp_path: Path, **changes: object) -> Path:
    n = 100
    columns: dict[str, object] = {
        "TIME": np.arange(n) * 10,
        "P": np.full(n, 2.0944),
        "Q": np.full(n, 1481.0),
        "R": np.arange(n, dtype=float),
        "PS": np.where(np.arange(n) % 20 == 0, 69_681.6, np.nan),
        "VC": np.full(n, 51.4444),
        "NZ": np.full(n, -9.80665),
        "RUD": np.full(n, 25.0),
    }
    path = tmp_path / "own_names.csv"
    pd.DataFrame({**columns, **changes}).to_csv(path, index=False)
    return path


def test_units_signs_and_scales(tmp_path: Path) -> None:
    block = read_recording(_file(tmp_path), MAP).block
    assert block.time_ns[0] == START_NS
    assert block.time_ns[1] - block.time_ns[0] == 10_000_000
    columns = block.to_columns()
    assert_allclose(columns["roll_rate_dps"], 120.0, rtol=1e-5)  # 2.0944 rad/s = 120 deg/s
    assert_allclose(columns["pitch_rate_dps"], -84.855, rtol=1e-4)  # 1.481 rad/s
    assert_allclose(columns["calibrated_airspeed_kt"], 100.0, rtol=1e-5)
    assert_allclose(columns["normal_load_g"], 1.0, rtol=1e-12)
    assert_allclose(columns["pedal_right_pct"], 90.0)
    assert columns["pressure_altitude_ft"][0] == pytest.approx(10_000.0, abs=0.1)


def test_slow_channel_is_held_to_its_age_limit_and_no_further(tmp_path: Path) -> None:
    altitude = read_recording(_file(tmp_path), _with({"pressure_altitude_ft": {"hold_s": 0.05}})).block.values[
        :, PRESSURE_ALTITUDE
    ]
    held = ~np.isnan(altitude)
    # one sample every 200 ms, held for 50 ms: rows 0-5, 20-25, ... have a value
    assert_array_equal(np.flatnonzero(held)[:8], [0, 1, 2, 3, 4, 5, 20, 21])


def test_measured_period_sets_the_default_limit(tmp_path: Path) -> None:
    block = read_recording(_file(tmp_path), _with({"pressure_altitude_ft": {"hold_s": None}})).block
    assert not np.isnan(block.values[:, PRESSURE_ALTITUDE]).any()


def test_a_sample_lost_at_the_frames_own_rate_stays_lost(tmp_path: Path) -> None:
    rates = np.full(100, 2.0)
    rates[40] = np.nan
    block = read_recording(_file(tmp_path, P=rates), MAP).block
    assert np.flatnonzero(np.isnan(block.values[:, ROLL_RATE])).tolist() == [40]


def test_delay_moves_a_channel_back(tmp_path: Path) -> None:
    steps = np.where(np.arange(100) >= 50, 100.0, 0.0)
    mapping = _with({"calibrated_airspeed_kt": {"delay_s": 0.05, "hold_s": 0.1}})
    block = read_recording(_file(tmp_path, VC=steps), mapping).block
    # stamped 50 ms late: the step seen in row 50 happened in row 45
    speed = block.values[:, CALIBRATED_AIRSPEED]
    assert np.flatnonzero(speed > 50.0)[0] == 45


def test_even_grid(tmp_path: Path) -> None:
    block = read_recording(_file(tmp_path), _with({}, rate_hz=50.0)).block
    assert np.unique(np.diff(block.time_ns)).tolist() == [20_000_000]
    assert_allclose(np.rad2deg(block.values[:, YAW_RATE]), np.arange(0, 100, 2))


def test_units_in_a_second_header_row_and_in_brackets(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text("Clock [s],P,Q,R (deg/s),HP\n-,rad/s,rad/s,,m\n1.5,1,2,3,3048\n1.6,1,2,3,3048\n")
    mapping = {
        "time": {"source": "Clock"},
        "columns": {
            "roll_rate_dps": {"source": "P"},
            "pitch_rate_dps": {"source": "Q"},
            "yaw_rate_dps": {"source": "R"},
            "pressure_altitude_ft": {"source": "HP"},
        },
    }
    block = read_recording(path, mapping).block
    assert block.time_ns[0] == 1_500_000_000
    assert block.values[0, PITCH_RATE] == 2.0
    assert block.values[0, YAW_RATE] == pytest.approx(np.deg2rad(3.0))
    assert block.values[0, PRESSURE_ALTITUDE] == 3048.0


def test_irig_day_time_text(tmp_path: Path) -> None:
    path = tmp_path / "irig.csv"
    path.write_text("T,P,Q,R,H\n127:09:00:01.250,1,2,3,4\n127:09:00:01.270,1,2,3,4\n")
    columns = {
        n: {"source": s, "unit": u}
        for n, s, u in [
            ("roll_rate_dps", "P", "deg/s"),
            ("pitch_rate_dps", "Q", "deg/s"),
            ("yaw_rate_dps", "R", "deg/s"),
            ("pressure_altitude_ft", "H", "ft"),
        ]
    }
    block = read_recording(path, {"time": {"source": "T", "start": "2031-01-01T00:00:00Z"}, "columns": columns}).block
    # day 127 of 2031 is 7 May
    assert block.time_ns[0] == START_NS + 1_250_000_000


REFUSED = [
    ({"roll_rate_dps": {"unit": "ft"}}, "converts to deg/s"),
    ({"roll_rate_dps": {"unit": "Hz"}}, "converts to deg/s"),
    ({"roll_rate_dps": {"unit": "furlongs/moon"}}, "no unit we know"),
    ({"pedal_right_pct": {"unit": "deg"}}, "converts to %"),
    ({"normal_load_g": {"unit": None}}, "a unit is never guessed"),
    ({"roll_rate_dps": {"source": "NOPE"}}, "without it"),
]


@pytest.mark.parametrize(("change", "telling"), REFUSED)
def test_refusals(tmp_path: Path, change: dict[str, dict[str, object]], telling: str) -> None:
    with pytest.raises(RecordingError) as caught:
        read_recording(_file(tmp_path), _with(change))
    assert telling in caught.value.sentence


def test_map_and_file_must_agree(tmp_path: Path) -> None:
    path = tmp_path / "flight.csv"
    path.write_text("T,P,Q,R,H\ns,rad/s,deg/s,deg/s,ft\n0,1,2,3,4\n")
    columns: dict[str, dict[str, object]] = {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "Q"},
        "yaw_rate_dps": {"source": "R"},
        "pressure_altitude_ft": {"source": "H"},
    }
    mapping: dict[str, object] = {"time": {"source": "T"}, "columns": columns}
    with pytest.raises(RecordingError, match="to agree on the unit"):
        read_recording(path, mapping)
    columns["roll_rate_dps"]["overrule_file"] = True
    assert read_recording(path, mapping).block.values[0, ROLL_RATE] == pytest.approx(np.deg2rad(1.0))


def test_all_faults_of_a_map_at_once(tmp_path: Path) -> None:
    with pytest.raises(RecordingError) as caught:
        read_recording(_file(tmp_path), {"columns": {"roll_rate_dps": {"sorce": "P"}}, "rate_hz": -1, "extra": 1})
    assert "columns.roll_rate_dps.sorce" in caught.value.sentence
    assert "rate_hz" in caught.value.sentence
    assert "extra" in caught.value.sentence


def test_absent_optional_source_is_a_note(tmp_path: Path) -> None:
    recording = read_recording(_file(tmp_path), _with({"alpha_deg": {"source": "VANE", "unit": "deg"}}))
    assert [n.sentence for n in recording.notes] == [
        "column alpha_deg: the file has no channel 'VANE'; the column is empty"
    ]
    assert np.isnan(recording.block.values[0, NORMAL_LOAD : NORMAL_LOAD + 1]).sum() == 0
    assert recording.block.values[0, PEDAL_RIGHT] == pytest.approx(0.9)


def test_rows_without_a_time_make_no_wrap(tmp_path: Path) -> None:
    """A missing time half a period into a clock of 60 s: no step of the clock itself is a wrap."""
    n = 8
    path = tmp_path / "own.csv"
    times = [29.6, 29.7, 29.8, 29.9, None, 30.1, 30.2, 30.3]
    pd.DataFrame({"TIME": times, **{name: np.ones(n) for name in "PQR"}, "PS": np.full(n, 7e4)}).to_csv(
        path, index=False
    )
    channel_map = {"columns": {n: c for n, c in MAP["columns"].items() if c["source"] in ("P", "Q", "R", "PS")}}
    own = {**channel_map, "time": {"source": "TIME", "unit": "s", "wraps_s": 60.0}}
    block = read_recording(path, own).block
    assert_array_equal(block.time_ns, [round(t * 1e9) for t in times if t is not None])


def test_two_columns_of_time_need_a_map_that_says_which(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    own = {name: c for name, c in MAP.items() if name != "time"}
    file = pd.read_csv(_file(tmp_path))
    file.assign(time_ns=file["TIME"] * 1_000_000, time_s=file["TIME"] / 500.0).drop(columns="TIME").to_csv(
        path, index=False
    )
    with pytest.raises(RecordingError, match="either time_ns or time_s"):
        read_recording(path, own)
    block = read_recording(path, {**own, "time": {"source": "time_s", "unit": "s"}}).block
    assert block.time_ns[1] == 20_000_000


def test_a_name_that_stands_in_two_tables_is_told(tmp_path: Path) -> None:
    path = tmp_path / "own.h5"
    n = 50
    with h5py.File(path, "w") as file:
        for folder, rate in (("gyro", 1.0), ("spare", 2.0)):
            file[f"{folder}/t"] = np.arange(n) / 50.0
            for name in ("P", "Q", "R", "Hp"):
                file[f"{folder}/{name}"] = np.full(n, rate)
    columns = {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "spare/Q", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "gyro/R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "gyro/Hp", "unit": "ft"},
    }
    recording = read_recording(path, {"time": {"source": "t", "unit": "s"}, "columns": columns})
    assert_allclose(np.rad2deg(recording.block.values[0, :3]), [1.0, 2.0, 1.0])
    assert [n.sentence for n in recording.notes] == [
        "channel P: stands in gyro, spare; that of gyro was read (`table/name` asks for one)"
    ]


def test_a_source_is_named_as_the_file_writes_it_with_its_unit(tmp_path: Path) -> None:
    names = {"TIME": "TIME [ms]", "P": "P (rad/s)", "R": "Rate [deg/s]", "VC": "Alt [ft]", "PS": "Alt [Pa]"}
    path = tmp_path / "labelled.csv"
    pd.read_csv(_file(tmp_path)).rename(columns=names).to_csv(path, index=False)
    named: dict[str, Any] = _with(
        {
            "roll_rate_dps": {"source": "P (rad/s)"},
            "yaw_rate_dps": {"source": "rate [deg/s]"},
            "pressure_altitude_ft": {"source": "Alt [Pa]"},
        },
        time={**MAP["time"], "source": "TIME [ms]"},
    )
    del named["columns"]["calibrated_airspeed_kt"]  # its source is another height here
    block = read_recording(path, named).block
    assert block.time_ns[0] == START_NS
    assert_allclose(block.values[:, ROLL_RATE], 2.0944)
    assert_allclose(block.values[1:, YAW_RATE], np.deg2rad(np.arange(1, 100)))
    assert block.values[0, PRESSURE_ALTITUDE] == pytest.approx(3048.0, abs=0.1)
    other = {"pressure_altitude_ft": {"source": "Alt [hPa]"}}
    with pytest.raises(RecordingError, match="Alt \\[hPa\\]"):
        read_recording(path, {**named, "columns": {**named["columns"], **other}})
