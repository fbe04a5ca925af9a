"""HDF5 written by h5py, MATLAB v5 written by scipy: vectors, units, several rates, damage."""

from __future__ import annotations

import random
from pathlib import Path

import h5py
import numpy as np
import numpy.typing as npt
import pytest
import scipy.io
from numpy.testing import assert_allclose

from spinfloor.adapters.recordings import RecordingError, read_recording
from spinfloor.adapters.recordings.hdf5_file import read_here
from spinfloor.core.channels import PRESSURE_ALTITUDE, ROLL_RATE

Columns = dict[str, npt.NDArray[np.generic]]
MAP: dict[str, object] = {
    "time": {"source": "t_fast", "unit": "s"},
    "columns": {
        "roll_rate_dps": {"source": "p"},
        "pitch_rate_dps": {"source": "q"},
        "yaw_rate_dps": {"source": "r"},
        "pressure_altitude_ft": {"source": "hp", "time": {"source": "t_slow", "unit": "s"}},
    },
}


def _hdf5(path: Path, userblock: bool = False) -> Path:
    with h5py.File(path, "w", userblock_size=512 if userblock else 0) as file:
        file["t_fast"] = np.arange(200) / 100.0
        for name in "pqr":
            file[name] = np.full((1, 200), 1.0) if userblock else np.full(200, 1.0)
            file[name].attrs["units"] = "rad/s"
        file["t_slow"] = np.arange(20) / 10.0
        file["hp"] = np.full(20, 3048.0)
        file["hp"].attrs["units"] = b"m"
        file["remark"] = "two rates"
    if userblock:
        data = path.read_bytes()
        path.write_bytes(b"MATLAB 7.3 MAT-file".ljust(512, b" ") + data[512:])
    return path


@pytest.mark.parametrize("userblock", [False, True], ids=["hdf5", "matlab-7.3"])
def test_two_rates_in_one_hdf5_file(tmp_path: Path, userblock: bool) -> None:
    recording = read_recording(_hdf5(tmp_path / ("f.mat" if userblock else "f.h5"), userblock), MAP)
    assert recording.source["format"] == ("matlab v7.3" if userblock else "hdf5")
    assert len(recording.block) == 200
    assert_allclose(recording.block.values[:, ROLL_RATE], 1.0)
    assert_allclose(recording.block.values[:, PRESSURE_ALTITUDE], 3048.0)


def test_contract_names_in_a_group(tmp_path: Path, spin_columns: Columns) -> None:
    with h5py.File(tmp_path / "f.h5", "w") as file:
        for name, values in spin_columns.items():
            file.create_dataset(f"flight/fast/{name}", data=values, compression="gzip", fletcher32=True)
    assert len(read_recording(tmp_path / "f.h5").block) == 500


def test_damaged_dataset_costs_only_itself(tmp_path: Path, spin_columns: Columns) -> None:
    path = tmp_path / "f.h5"
    with h5py.File(path, "w") as file:
        for name, values in spin_columns.items():
            file.create_dataset(name, data=values, chunks=(500,), fletcher32=True)
        at = file["alpha_deg"].id.get_chunk_info(0).byte_offset
    data = bytearray(path.read_bytes())
    data[at + 40] ^= 0xFF
    path.write_bytes(bytes(data))
    recording = read_recording(path)
    assert len(recording.block) == 500
    assert [n.sentence for n in recording.notes] == ["/alpha_deg: its values are damaged; left out"]


def test_truncated_hdf5(tmp_path: Path, spin_columns: Columns) -> None:
    path = _hdf5(tmp_path / "f.h5")
    path.write_bytes(path.read_bytes()[:1500])
    with pytest.raises(RecordingError, match="damaged or cut short"):
        read_recording(path, MAP)


@pytest.mark.parametrize("compressed", [False, True])
def test_matlab_v5_structs_with_units(tmp_path: Path, compressed: bool) -> None:
    def channel(values: object, units: str) -> dict[str, object]:
        return {"data": values, "units": units}

    variables = {
        "t_fast": np.arange(200) / 100.0,
        **{n: channel(np.full(200, 57.29578), "deg/s") for n in "pqr"},
        "t_slow": np.arange(20) / 10.0,
        "hp": channel(np.full(20, 10_000.0), "ft"),
        "note": "a string",
    }
    scipy.io.savemat(tmp_path / "f.mat", variables, do_compression=compressed)
    recording = read_recording(tmp_path / "f.mat", MAP)
    assert recording.source["format"] == "matlab v5"
    assert_allclose(recording.block.values[:, ROLL_RATE], 1.0, rtol=1e-7)
    assert_allclose(recording.block.values[:, PRESSURE_ALTITUDE], 3048.0)


def test_matlab_v5_damage_costs_one_variable(tmp_path: Path, spin_columns: Columns) -> None:
    path = tmp_path / "f.mat"
    scipy.io.savemat(path, {**spin_columns, "zz_last": np.arange(100_000.0)}, do_compression=True)
    whole = path.read_bytes()
    path.write_bytes(whole[:-2000])
    recording = read_recording(path)
    assert len(recording.block) == 500
    assert "cut short" in recording.notes[0].sentence


def test_matlab_v5_damage_that_crashes_the_library_ends_no_process(tmp_path: Path) -> None:
    """One in ten of these ends the process that reads them with a segmentation fault or a bus error (scipy 1.17)."""
    path = tmp_path / "f.mat"
    names = ["time_s", "roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps", "pressure_altitude_ft"]
    scipy.io.savemat(path, {name: np.arange(50) / 50.0 for name in names})
    whole = path.read_bytes()
    ends: list[str] = []
    for seed in range(60):
        draw = random.Random(seed)
        damaged = bytearray(whole)
        for _ in range(draw.randint(1, 8)):
            damaged[draw.randrange(128, len(damaged))] = draw.randrange(256)
        path.write_bytes(damaged)
        try:
            ends.append(str(read_recording(path).source["format"]))
        except RecordingError as error:
            ends.append(error.sentence)
    assert "matlab v5" in ends
    assert any("f.mat" in end for end in ends)


def test_columns_beyond_the_most_that_are_read_are_told(tmp_path: Path) -> None:
    path = tmp_path / "wide.h5"
    with h5py.File(path, "w") as file:
        file["wide"] = np.zeros((1000, 300))
    source = read_here(path)
    assert len(source.tables[0].columns) == 256
    assert [n.sentence for n in source.notes] == ["wide: table of more than 256 columns; the rest were left out"]
