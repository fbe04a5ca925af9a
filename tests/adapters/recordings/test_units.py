"""Units as flight-test files write them. Factors by definition: 1 g = 9.80665 m/s2, 1 ft = 0.3048 m, 1 kt = 1852 m/h,
1 lbf = 0.45359237 kg at 1 g, 1 inHg = 3386.389 Pa (rounded)."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from spinfloor.adapters.recordings import RecordingError, read_recording
from spinfloor.adapters.recordings.unit_text import factor_between
from spinfloor.core.channels import NORMAL_LOAD, PRESSURE_ALTITUDE

G = 9.80665
PSF_PA = 0.45359237 * G / 0.3048**2
WRITTEN = {
    "g": {"m/s2": 1 / G, "m/s²": 1 / G, "m.s-2": 1 / G, "m·s⁻²": 1 / G, "M/S2": 1 / G, "ft/s2": 0.3048 / G}
    | {"ft/s²": 0.3048 / G, "FT/SEC2": 0.3048 / G, "gn": 1.0, "m/s^2": 1 / G},
    "deg/s": {"º/s": 1.0, "deg.s-1": 1.0, "deg·s⁻¹": 1.0, "rad.s-1": math.degrees(1.0), "rev/min": 6.0, "rpm": 6.0},
    "m": {"M": 1.0, "m": 1.0, "FT": 0.3048},
    "kt": {"M/S": 3600 / 1852, "m.s-1": 3600 / 1852, "KCAS": 1.0, "NM/h": 1.0},
    "Pa": {"lbf/ft2": PSF_PA, "lb/ft2": PSF_PA, "lbf/in2": 144 * PSF_PA, "psia": 144 * PSF_PA, "in Hg": 3386.389},
    "s": {"S": 1.0, "sec": 1.0},
}


@pytest.mark.parametrize(("written", "unit"), [(w, unit) for unit, ways in WRITTEN.items() for w in ways])
def test_a_unit_is_known_however_files_write_it(written: str, unit: str) -> None:
    factor = factor_between(written, unit)
    assert factor is not None
    assert_allclose(factor, WRITTEN[unit][written], rtol=2e-7)


@pytest.mark.parametrize("written", ["KIAS", "m2/s", "ft-lb", "s2", "g/s2", "m/s22", "m/s-2-2", "hundreds"])
def test_what_is_another_quantity_or_no_unit_is_refused(written: str) -> None:
    assert [unit for unit in ("g", "deg/s", "m", "kt", "s", "%") if factor_between(written, unit) is not None] == []


HEAD = "t,Q,P,R,Hp,nz\n{units}\n0.00,1,2,3,3048,9.80665\n0.01,1,2,3,3048,9.80665\n"
MAP: dict[str, Any] = {
    "time": {"source": "t"},
    "columns": {
        "roll_rate_dps": {"source": "P"},
        "pitch_rate_dps": {"source": "Q"},
        "yaw_rate_dps": {"source": "R"},
        "pressure_altitude_ft": {"source": "Hp"},
        "normal_load_g": {"source": "nz"},
    },
}


def test_a_units_row_with_square_seconds(tmp_path: Path) -> None:
    path = tmp_path / "row.csv"
    path.write_text(HEAD.format(units="s,rad/s,rad/s,rad/s,m,m/s2"), encoding="utf-8")
    values = read_recording(path, MAP).block.values
    assert_allclose(values[:, NORMAL_LOAD], G)
    assert_allclose(values[:, PRESSURE_ALTITUDE], 3048.0)


def test_one_unknown_unit_in_a_units_row_is_named_and_does_not_make_it_a_row_of_names(tmp_path: Path) -> None:
    path = tmp_path / "row.csv"
    path.write_text(HEAD.format(units="s,rad/s,rad/s,rad/s,m,blocks"), encoding="utf-8")
    with pytest.raises(RecordingError) as caught:
        read_recording(path, MAP)
    assert "'blocks' for 'nz', which is no unit we know" in caught.value.sentence
    overruled = {**MAP, "columns": {**MAP["columns"], "normal_load_g": {"source": "nz", "unit": "m/s2"}}}
    assert_allclose(read_recording(path, overruled).block.values[:, NORMAL_LOAD], G)


def test_names_that_could_be_units_stay_names(tmp_path: Path) -> None:
    path = tmp_path / "groups.csv"
    path.write_text("rec,imu,imu,imu,air\nt,P,Q,R,Hp\n0.00,1,2,3,3048\n0.01,1,2,3,3048\n", encoding="utf-8")
    names = {"roll_rate_dps": "imu.P", "pitch_rate_dps": "imu.Q", "yaw_rate_dps": "imu.R"}
    columns = {name: {"source": source, "unit": "rad/s"} for name, source in names.items()}
    columns["pressure_altitude_ft"] = {"source": "air.Hp", "unit": "m"}
    block = read_recording(path, {"time": {"source": "rec.t", "unit": "s"}, "columns": columns}).block
    assert np.diff(block.time_ns).tolist() == [10_000_000]


def test_an_unknown_unit_in_brackets_is_told_with_the_name_to_use(tmp_path: Path) -> None:
    path = tmp_path / "brackets.csv"
    path.write_text(
        "t [s],P [rad/s],Q [rad/s],R [rad/s],Hp [m],nz [blocks]\n0.00,1,2,3,3048,1\n0.01,1,2,3,3048,1\n",
        encoding="utf-8",
    )
    (note,) = read_recording(path, MAP).notes
    assert "it has 'nz [blocks]', whose brackets hold no unit we know" in note.sentence
    named = {"source": "nz [blocks]", "unit": "g"}
    told = read_recording(path, {**MAP, "columns": {**MAP["columns"], "normal_load_g": named}})
    assert (told.notes, told.block.values[0, NORMAL_LOAD]) == ((), G)
