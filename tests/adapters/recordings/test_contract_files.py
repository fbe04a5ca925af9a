"""Recordings that carry the contract's columns: written by pandas and pyarrow, read back exactly."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from spinfloor.adapters.recordings import RecordingError, RecordingMissingError, read_recording
from spinfloor.adapters.recordings.arrow_file import read_arrow
from spinfloor.core.channels import ALPHA, EVENT_MARKER, PRESSURE_ALTITUDE, REQUIRED_COLUMNS, ROLL_RATE, YAW_RATE

Columns = dict[str, npt.NDArray[np.generic]]
HEADER = "time_s,roll_rate_dps,pitch_rate_dps,yaw_rate_dps,pressure_altitude_ft\n"


def _write(path: Path, columns: Columns) -> Path:
    frame = pd.DataFrame(columns)
    if path.suffix == ".parquet":
        frame.to_parquet(path, index=False)
    elif path.suffix == ".csv":
        frame.to_csv(path, index=False)
    elif path.suffix == ".arrow":
        table = pa.Table.from_pandas(frame, preserve_index=False)
        with pa.ipc.new_file(path, table.schema) as writer:
            writer.write_table(table, max_chunksize=100)
    else:
        table = pa.Table.from_pandas(frame, preserve_index=False)
        with pa.ipc.new_stream(path, table.schema) as writer:
            writer.write_table(table, max_chunksize=100)
    return path


@pytest.mark.parametrize("suffix", [".parquet", ".csv", ".arrow", ".arrows"])
def test_columns_come_back_in_si(tmp_path: Path, spin_columns: Columns, suffix: str) -> None:
    recording = read_recording(_write(tmp_path / f"flight{suffix}", spin_columns))
    assert_array_equal(recording.block.time_ns, spin_columns["time_ns"])
    # 84.8528 deg/s = 1.480961 rad/s; 10,000 ft = 3,048 m exactly (international foot).
    assert_allclose(recording.block.values[:, ROLL_RATE], 1.480961, rtol=1e-6)
    assert recording.block.values[0, PRESSURE_ALTITUDE] == pytest.approx(3048.0, abs=1e-9)
    assert_allclose(recording.block.values[:, ALPHA], np.pi / 4, rtol=1e-12)
    assert np.isnan(recording.block.values[:, 4]).all()
    assert recording.notes == ()
    assert recording.source["rows"] == 500


def test_missing_values_and_backward_time_are_kept(tmp_path: Path, spin_columns: Columns) -> None:
    spin_columns["yaw_rate_dps"][3] = np.nan
    spin_columns["time_ns"][10] = spin_columns["time_ns"][5]
    recording = read_recording(_write(tmp_path / "flight.csv", spin_columns))
    assert np.isnan(recording.block.values[3, YAW_RATE])
    assert recording.block.time_ns[10] < recording.block.time_ns[9]
    assert len(recording.block) == 500


def test_nanoseconds_stay_exact_with_a_time_missing(tmp_path: Path) -> None:
    path = tmp_path / "flight.csv"
    path.write_text(
        HEADER.replace("time_s", "time_ns") + "1900000000000000001,1,2,3,4\n,1,2,3,4\n1900000000020000003,1,2,3,4\n"
    )
    recording = read_recording(path)
    assert recording.block.time_ns.tolist() == [1_900_000_000_000_000_001, 1_900_000_000_020_000_003]
    assert [n.sentence for n in recording.notes] == ["row 2: row(s) without a usable time; left out"]


@pytest.mark.parametrize("quote", ["", '"'])
def test_spaces_behind_the_commas_are_none_of_the_names(tmp_path: Path, quote: str) -> None:
    names = ("time_s", *REQUIRED_COLUMNS)
    lines = [", ".join(f"{quote}{name}{quote}" for name in names), "0.0, 1, 2, 3, 9000", "0.1,  1.5, 2, -3,9001 "]
    (tmp_path / "spaced.csv").write_text("\n".join(lines), encoding="utf-8")
    columns = read_recording(tmp_path / "spaced.csv").block.to_columns()
    assert columns["roll_rate_dps"].tolist() == pytest.approx([1.0, 1.5])
    assert columns["pressure_altitude_ft"].tolist() == pytest.approx([9000.0, 9001.0])


def test_damaged_csv_gives_what_can_be_had(tmp_path: Path) -> None:
    path = tmp_path / "flight.csv"
    path.write_text(HEADER + "0,1,2,3,4\n0.1,1,2\n0.2,x,nan,inf,4\n0.3,5,6,7,8\n")
    recording = read_recording(path)
    assert recording.block.time_ns.tolist() == [0, 200_000_000, 300_000_000]
    assert np.isnan(recording.block.values[1, :3]).all()
    sentences = " | ".join(n.sentence for n in recording.notes)
    assert "line 3: line has 3 values where 5 were expected" in sentences
    assert "roll_rate_dps that are not numbers" in sentences
    assert "infinite value(s) of yaw_rate_dps" in sentences


def test_bytes_that_are_no_text_far_down_cost_only_their_lines(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "flight.csv"
    rows = [f"{i * 0.01:.2f},1,2,3,4\n".encode() for i in range(8000)]  # the head that is looked at is shorter
    path.write_bytes(HEADER.encode() + b"".join(rows) + b"\xff\xfe\x80\n" + b"80.1,\xff,2,3,4\n80.2,1,2,3,4\n")
    recording = read_recording(path)
    assert len(recording.block) == 8002
    assert "1 values where 5 were expected; left out" in " | ".join(n.sentence for n in recording.notes)
    assert "Traceback" not in capfd.readouterr().err


def test_units_row_and_semicolons_with_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "flight.csv"
    path.write_text(HEADER.replace(",", ";") + "s;deg/s;°/s;deg/s;ft\n0,5;1,5;2;3;4\n0,6;1,5;2;3;4\n", "utf-8")
    recording = read_recording(path)
    assert recording.block.time_ns.tolist() == [500_000_000, 600_000_000]
    assert_allclose(recording.block.values[:, ROLL_RATE], np.deg2rad(1.5))


def test_one_damaged_row_group_costs_only_itself(tmp_path: Path, spin_columns: Columns) -> None:
    path = tmp_path / "flight.parquet"
    table = pa.Table.from_pandas(pd.DataFrame(spin_columns), preserve_index=False)
    pq.write_table(table, path, row_group_size=100, write_page_checksum=True, use_dictionary=False, compression="none")
    offset = pq.read_metadata(path).row_group(2).column(1).data_page_offset
    data = bytearray(path.read_bytes())
    data[offset + 100] ^= 0xFF
    path.write_bytes(bytes(data))
    recording = read_recording(path)
    assert len(recording.block) == 400
    assert [n.sentence for n in recording.notes] == ["row group 2 of 5: 100 rows are damaged and were left out"]


def test_cut_arrow_file_is_read_to_the_last_whole_batch(tmp_path: Path, spin_columns: Columns) -> None:
    path = _write(tmp_path / "flight.arrow", spin_columns)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 2 // 3])
    recording = read_recording(path)
    assert 100 <= len(recording.block) < 500
    assert len(recording.block) % 100 == 0
    assert "cut short" in recording.notes[0].sentence


CASES = {
    "unit.csv": (HEADER.replace("roll_rate_dps", "roll_rate_radps") + "0,1,2,3,4\n", "the contract has roll_rate_dps"),
    "missing.csv": (HEADER.replace(",pressure_altitude_ft", "") + "0,1,2,3\n", "without pressure_altitude_ft"),
    "stated.csv": (HEADER + "s,deg/s,deg/s,rad/s,ft\n0,1,2,3,4\n", "states the unit 'rad/s'"),
    "headless.csv": ("1,2,3,4,5\n1,2,3,4,5\n", "starts with numbers and no names"),
    "rowless.csv": (HEADER, "no rows"),
    "text.csv": ("once upon a time\nthere was\n", "starts with text only"),
    "timeless.csv": (HEADER + ",1,2,3,4\n", "no row has one"),
    "empty.parquet": ("", "an empty file"),
}


@pytest.mark.parametrize("name", CASES)
def test_bad_files_end_in_one_sentence(tmp_path: Path, name: str) -> None:
    text, telling = CASES[name]
    (tmp_path / name).write_text(text)
    with pytest.raises(RecordingError) as caught:
        read_recording(tmp_path / name)
    assert telling in caught.value.sentence
    assert caught.value.sentence.count("\n") == 0
    assert caught.value.exit_code == 2


def test_truncated_parquet_says_so(tmp_path: Path, spin_columns: Columns) -> None:
    path = _write(tmp_path / "flight.parquet", spin_columns)
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(RecordingError, match="footer is missing or damaged"):
        read_recording(path)


def test_absent_and_folder(tmp_path: Path) -> None:
    with pytest.raises(RecordingMissingError, match="does not exist"):
        read_recording(tmp_path / "none.csv")
    with pytest.raises(RecordingMissingError, match="is a folder"):
        read_recording(tmp_path)


def test_an_arrow_name_that_is_no_text_costs_only_its_name(tmp_path: Path) -> None:
    table = pa.table({"time_s": [0.0, 1.0], "roll_rate_dps": [1.0, 2.0]})
    path = tmp_path / "damaged.arrow"
    with pa.ipc.new_file(path, table.schema) as file:
        file.write_table(table)
    path.write_bytes(path.read_bytes().replace(b"roll_rate_dps", b"\x80oll_rate_dps", 1))
    source = read_arrow(path)
    assert list(source.tables[0].columns) == ["time_s", "column 2"]
    assert source.tables[0].columns["column 2"].values.tolist() == [1.0, 2.0]


@pytest.mark.parametrize("name", ["both.csv", "both.parquet", "both.json"])
def test_two_columns_of_time_are_refused(tmp_path: Path, spin_columns: Columns, name: str) -> None:
    columns = {**spin_columns, "time_s": np.arange(500) / 25.0}  # twice the spacing of time_ns
    path = tmp_path / name
    if name.endswith("json"):
        path.write_text(json.dumps({"columns": {n: c.tolist() for n, c in columns.items()}}))
    else:
        _write(path, columns)
    with pytest.raises(RecordingError, match=rf"either time_ns or time_s.*{name} with both"):
        read_recording(path)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("clock.csv", (HEADER + "127:09:00:01.25,1,2,3,4\n127:09:00:01.35,1,2,3,4\n", "states the unit 'ns'")),
        ("stated.csv", (HEADER.replace("time_s", "time_ns [us]") + "1,1,2,3,4\n", "states the unit 'us'")),
    ],
)
def test_a_time_in_another_unit_than_its_name_says_is_refused(tmp_path: Path, name: str, told: tuple[str, str]) -> None:
    (tmp_path / name).write_text(told[0])
    with pytest.raises(RecordingError, match=told[1]):
        read_recording(tmp_path / name)


def test_a_dash_in_brackets_is_no_unit(tmp_path: Path) -> None:
    path = tmp_path / "flight.csv"
    path.write_text(HEADER.replace("\n", ",event_marker [-]\n") + "0,1,2,3,4,1\n")
    assert read_recording(path).block.values[0, EVENT_MARKER] == 1.0


def test_frames_before_1970_are_told_and_left_out(tmp_path: Path, spin_columns: Columns) -> None:
    spin_columns["time_ns"] = spin_columns["time_ns"] - spin_columns["time_ns"][200]
    recording = read_recording(_write(tmp_path / "flight.csv", spin_columns))
    assert recording.block.time_ns[0] == 0
    assert len(recording.block) == 300
    (note,) = recording.notes
    assert (note.count, "1970 to 2200" in note.what) == (200, True)
    spin_columns["time_ns"] = spin_columns["time_ns"] - 10**18
    with pytest.raises(RecordingError, match="years 1970 to 2200"):
        read_recording(_write(tmp_path / "earlier.csv", spin_columns))


def test_a_required_column_of_text_is_told_as_such(tmp_path: Path) -> None:
    path = tmp_path / "text.csv"
    path.write_text(
        "time_s,roll_rate_dps,pitch_rate_dps,yaw_rate_dps,pressure_altitude_ft\n0.0,a,0,0,9000\n0.1,b,0,0,9000\n"
    )
    with pytest.raises(RecordingError) as caught:
        read_recording(path)
    assert "without roll_rate_dps" in caught.value.sentence
    assert "column roll_rate_dps: column holds text, not numbers" in caught.value.sentence
