"""`spinfloor analyse` as a person runs it: a real process, its output, its exit code."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from tests.command_line import Run
from tests.places import RECORDINGS
from tests.tools.running import COMMAND

HEADER = "time_s,roll_rate_dps,pitch_rate_dps,yaw_rate_dps,pressure_altitude_ft\n"


def test_installed_script(recording: Path) -> None:
    """A real process: events on standard output, everything else on standard error."""
    script = Path(sys.executable).with_name("spinfloor")
    done = subprocess.run([script, "analyse", recording], capture_output=True, timeout=110, check=False)
    assert done.returncode == 0
    assert all(json.loads(line)["kind"] for line in done.stdout.splitlines())
    assert b"no plan given" in done.stderr
    bad = subprocess.run([script, "analyse", "absent.csv"], capture_output=True, timeout=110, check=False)
    assert (bad.returncode, bad.stdout) == (2, b"")


@pytest.mark.parametrize("form", ["standard input", "named pipe"])
def test_a_recording_from_a_pipe_gives_the_events_of_the_file(recording: Path, tmp_path: Path, form: str) -> None:
    pipe = tmp_path / recording.name
    os.mkfifo(pipe)
    named = "-" if form == "standard input" else str(pipe)
    command = [sys.executable, "-m", "spinfloor.cli", "analyse", named, "--sortie=x"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        if named == "-":
            output, error = process.communicate(recording.read_bytes(), timeout=110)
        else:
            pipe.write_bytes(recording.read_bytes())
            output, error = process.communicate(timeout=110)
    assert process.returncode == 0, error
    from_file = subprocess.run([*command[:4], recording, "--sortie=x"], capture_output=True, timeout=110, check=False)
    assert output.count(b"spin.started") >= 1
    assert output == from_file.stdout


@pytest.fixture(scope="module")
def recording() -> Path:
    """A rehearsal recording with a spin in it."""
    return sorted(p for p in RECORDINGS.glob("*.parquet"))[0]


@pytest.mark.parametrize(
    ("name", "begins"),
    [("e.csv", b'"sortie","run"'), ("e.PARQUET", b"PAR1"), ("e.arrow", b"\xff\xff\xff\xff"), ("e.txt", b'{"sortie"')],
)
def test_the_form_follows_the_name_of_the_file(
    run: Run, recording: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    assert run("analyse", recording, "--out", tmp_path / name).exit_code == 0
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert run("analyse", recording, "--out", tmp_path / name, "--format", "ndjson").exit_code == 0
    assert (tmp_path / name).read_bytes().startswith(b'{"sortie"')


def test_events_and_nothing_else_on_standard_output(run: Run, recording: Path) -> None:
    done = run("analyse", recording)
    assert done.exit_code == 0
    events = [json.loads(line) for line in done.output.splitlines()]
    assert [e["sequence"] for e in events] == list(range(len(events)))
    assert {"spin.started", "spin.turn", "spin.ended"} <= {e["kind"] for e in events}
    assert "no plan given" in done.stderr
    assert all(e["detected_ns"] >= e["time_ns"] for e in events)


def test_csv_and_parquet_are_the_same_table(run: Run, recording: Path, tmp_path: Path) -> None:
    csv = run("analyse", recording, "--format", "csv")
    assert csv.exit_code == 0
    out = tmp_path / "events.parquet"
    assert run("analyse", recording, "--format", "parquet", "--out", out).output == b""
    by_polars, by_pandas = pl.read_parquet(out), pd.read_csv(io.BytesIO(csv.output))
    assert by_polars.columns == list(by_pandas.columns)
    assert by_polars["time_ns"].to_list() == by_pandas["time_ns"].to_list()
    turns = by_polars.filter(pl.col("kind") == "spin.ended")["turns"]
    assert turns.null_count() == 0


def test_csv_and_parquet_recordings_give_the_same_events(run: Run, recording: Path, tmp_path: Path) -> None:
    frame = pd.read_parquet(recording).astype({"time_ns": "int64"})
    frame = frame.astype({c: "float64" for c in frame.columns if c != "time_ns"})
    frame.to_csv(tmp_path / "same.csv", index=False)
    frame.to_parquet(tmp_path / "same.parquet", index=False)
    one, other = run("analyse", tmp_path / "same.csv"), run("analyse", tmp_path / "same.parquet")
    assert one.output == other.output
    assert len(one.output) > 500


BAD = {
    "unit.csv": HEADER.replace("roll_rate_dps", "roll_rate_radps") + "0,1,2,3,4\n",
    "missing.csv": HEADER.replace(",pressure_altitude_ft", "") + "0,1,2,3\n",
    "empty.parquet": "",
    "truncated.parquet": "PAR1" + "x" * 500,
    "random.bin": "\x00\x01\x02" * 200,
    "rowless.csv": HEADER,
}


def test_bad_requests_are_one_sentence_and_exit_code_2(run: Run, tmp_path: Path) -> None:
    for name, text in BAD.items():
        (tmp_path / name).write_text(text)
    for name in [*BAD, "absent.csv", "."]:
        done = run("analyse", tmp_path / name)
        assert done.exit_code == 2, name
        assert done.output == b"", name
        assert done.stderr.count("Traceback") == 0
        assert "Expected" in done.stderr.splitlines()[-1]


def test_bad_plan_and_unknown_format(run: Run, recording: Path, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("title: nothing else\n")
    done = run("analyse", recording, "--plan", tmp_path / "plan.yaml")
    assert done.exit_code == 2
    assert "aircraft" in done.stderr
    assert run("analyse", recording, "--format", "xml").exit_code == 2
    assert run("analyse", recording, "--plan", tmp_path / "absent.yaml").exit_code == 2


def test_place_that_cannot_be_written_is_exit_code_1(run: Run, recording: Path, tmp_path: Path) -> None:
    done = run("analyse", recording, "--out", tmp_path / "no" / "such" / "folder.ndjson")
    assert done.exit_code == 1
    assert "Traceback" not in done.stderr


def test_a_dash_is_standard_output_and_one_sentence_when_it_is_full(recording: Path, tmp_path: Path) -> None:
    plain = subprocess.run([*COMMAND, "analyse", str(recording)], capture_output=True, check=True)
    dash = subprocess.run(
        [*COMMAND, "analyse", str(recording), "--out=-"], capture_output=True, check=True, cwd=tmp_path
    )
    assert (dash.stdout, list(tmp_path.glob("-"))) == (plain.stdout, [])
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run([*COMMAND, "analyse", str(recording)], stdout=full, stderr=subprocess.PIPE, check=False)
    assert done.returncode == 1
    assert done.stderr.decode().splitlines()[-1].startswith("spinfloor: Expected to read and write")


def test_nan_rates_and_backward_time_become_quality_events(run: Run, tmp_path: Path) -> None:
    n = 1500
    columns = {
        "time_s": np.arange(n) / 50.0,
        **dict.fromkeys(["roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps"], np.random.default_rng(1).normal(0, 1, n)),
        "pressure_altitude_ft": np.full(n, 10_000.0),
    }
    frame = pd.DataFrame(columns)
    frame.loc[500:700, ["roll_rate_dps", "yaw_rate_dps"]] = np.nan
    frame.loc[1000, "time_s"] = 3.0
    frame.to_csv(tmp_path / "bad_rows.csv", index=False)
    done = run("analyse", tmp_path / "bad_rows.csv")
    assert done.exit_code == 0
    flags = {json.loads(line)["data"].get("flag") for line in done.output.splitlines() if b'"quality"' in line}
    assert len(flags) >= 2
