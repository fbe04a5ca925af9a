"""`spinfloor map suggest`: lists what it sees, leaves every unstated unit open."""

from __future__ import annotations

import contextlib
import os
import subprocess
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from tests.places import RECORDINGS
from tests.tools.running import COMMAND

from spinfloor.adapters.recordings import RecordingError, read_recording
from spinfloor.adapters.recordings.suggest import UNIT_QUESTION
from spinfloor.commands.map import channel_map


def _suggest(path: Path) -> tuple[str, dict[str, object]]:
    done = CliRunner().invoke(channel_map, ["suggest", str(path)], catch_exceptions=False)
    assert done.exit_code == 0
    return done.output, yaml.safe_load(done.output)["channel_map"]


def test_units_are_copied_where_stated_and_open_where_not(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text("T,P,Q [rad/s],R,Hp,oil's\ns,,,,m,degC\n0,2.09,2.09,2.09,3048,90\n1,2.1,2.1,2.1,3000,91\n")
    text, found = _suggest(path)
    columns = found["columns"]
    assert isinstance(columns, dict)
    assert found["time"] == {"source": "T", "unit": "s"}
    assert columns["roll_rate_dps"] == {"source": "P", "unit": UNIT_QUESTION}
    assert columns["pitch_rate_dps"] == {"source": "Q", "unit": "rad/s"}
    assert columns["pressure_altitude_ft"] == {"source": "Hp", "unit": "m"}
    assert "P: unit not stated, 2 samples" in text
    assert "from 2.09 to 2.1" in text
    assert "oil's: degC" in text


def test_an_open_unit_is_refused_and_a_completed_map_is_read(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text("T,P,Q,R,Hp\n0,2.09,2.09,2.09,3048\n")
    text, found = _suggest(path)
    with pytest.raises(RecordingError):
        read_recording(path, found)
    text = text.replace("'T', unit: '???'", "'T', unit: s").replace("'Hp', unit: '???'", "'Hp', unit: m")
    completed = yaml.safe_load(text.replace("unit: '???'", "unit: rad/s"))["channel_map"]
    assert read_recording(path, completed).block.values[0, :4].tolist() == [2.09, 2.09, 2.09, 3048.0]


@pytest.mark.parametrize("terminal", [False, True])
def test_names_in_any_script_are_written_under_any_locale(tmp_path: Path, terminal: bool) -> None:
    """In a pipe as UTF-8, which a plan is read in; on a terminal as well as it can show them."""
    path = tmp_path / "f.csv"
    path.write_text("t,P,Q,R,Hp,ψ\n0,1,2,3,1000,5\n", encoding="utf-8")
    ours, theirs = os.openpty() if terminal else os.pipe()
    done = subprocess.Popen(
        [*COMMAND, "map", "suggest", str(path)], stdout=theirs, env=os.environ | {"PYTHONIOENCODING": "latin-1"}
    )
    os.close(theirs)
    said = b""
    with contextlib.suppress(OSError):  # how the end of a terminal is told
        while more := os.read(ours, 65536):
            said += more
    os.close(ours)
    assert done.wait(120.0) == 0
    assert ("\\u03c8: unit not stated" if terminal else "ψ: unit not stated") in said.decode("utf-8")


def test_required_columns_without_a_match_stay_visible(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_text("a,b\n0,1\n")
    _, found = _suggest(path)
    columns = found["columns"]
    assert isinstance(columns, dict)
    assert set(columns) == {"roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps", "pressure_altitude_ft"}
    assert all(c == {"source": UNIT_QUESTION, "unit": UNIT_QUESTION} for c in columns.values())


def test_a_file_in_the_contracts_names_is_said_to_need_no_map() -> None:
    text, _ = _suggest(RECORDINGS / "r01-first-turns.parquet")
    assert "without a map they are read in its units" in text
