"""Recordings whose times are odd: read, and said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.command_line import Run

from spinfloor.commands.doubts import doubts

SECOND = 1_000_000_000


def test_a_usual_recording_raises_no_doubt() -> None:
    times = np.arange(1000, dtype=np.int64) * (SECOND // 100)
    times[500], times[501] = times[501], times[500]  # a recorder's own disorder
    assert list(doubts(times)) == []
    assert list(doubts(times[:1])) == []


@pytest.mark.parametrize(
    ("step_ns", "word"), [(100 * SECOND, "got one in 100 s"), (10, "got one in 1e-08 s"), (0, "got one in 0 s")]
)
def test_a_time_column_in_another_unit(step_ns: int, word: str) -> None:
    (sentence,) = doubts(np.arange(500, dtype=np.int64) * step_ns)
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
