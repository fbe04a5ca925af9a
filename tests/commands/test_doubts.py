"""Recordings whose times are odd or whose required channels are empty: read, and said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from tests.command_line import Run

from spinfloor.commands.doubts import doubts
from spinfloor.core.channels import CHANNEL_COUNT, REQUIRED_COLUMNS, YAW_RATE
from spinfloor.core.frames import FrameBlock

SECOND = 1_000_000_000


def _block(times: npt.NDArray[np.int64]) -> FrameBlock:
    return FrameBlock(times, np.zeros((len(times), CHANNEL_COUNT)))


def test_a_usual_recording_raises_no_doubt() -> None:
    times = np.arange(1000, dtype=np.int64) * (SECOND // 100)
    times[500], times[501] = times[501], times[500]  # a recorder's own disorder
    assert list(doubts(_block(times))) == []
    assert list(doubts(_block(times[:1]))) == []


@pytest.mark.parametrize(
    ("step_ns", "word"), [(100 * SECOND, "got one in 100 s"), (10, "got one in 1e-08 s"), (0, "got one in 0 s")]
)
def test_a_time_column_in_another_unit(step_ns: int, word: str) -> None:
    (sentence,) = doubts(_block(np.arange(500, dtype=np.int64) * step_ns))
    assert word in sentence
    assert "unit of the time column" in sentence


def test_a_shuffled_recording_is_said_on_standard_error(run: Run, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rows = rng.permutation(400)
    path = tmp_path / "shuffled.csv"
    head = "time_s,roll_rate_dps,pitch_rate_dps,yaw_rate_dps,pressure_altitude_ft\n"
    path.write_text(head + "".join(f"{i / 100:.2f},0,0,0,9000\n" for i in rows))
    done = run("analyse", path)
    assert done.exit_code == 0
    assert "that lie before the one above them" in done.stderr
    assert "sort the recording by time" in done.stderr


def test_a_link_that_loses_a_third_of_a_channel_raises_no_doubt() -> None:
    block = _block(np.arange(900, dtype=np.int64) * (SECOND // 100))
    block.values[::3, YAW_RATE] = np.nan
    assert list(doubts(block)) == []


@pytest.mark.parametrize("name", REQUIRED_COLUMNS)
def test_a_required_channel_without_values_is_said_on_standard_error(run: Run, tmp_path: Path, name: str) -> None:
    path = tmp_path / "dead.csv"
    row = ",".join("" if column == name else "1000" for column in REQUIRED_COLUMNS)
    path.write_text(f"time_s,{','.join(REQUIRED_COLUMNS)}\n" + "".join(f"{i / 100:.2f},{row}\n" for i in range(50)))
    done = run("analyse", path)
    assert done.exit_code == 0
    assert f"expected {name} in every frame, got none in 50 of 50" in done.stderr
