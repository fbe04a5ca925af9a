"""Analysed and flown live with a browser on Watch: the same events, every call sounded, everything shown."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from tests.dashboard.flying import stretch
from tests.places import RECORDINGS
from tests.tools import end_to_end
from tests.tools.running import RunningService
from tests.truth import shared

pytestmark = pytest.mark.browser
SPEED = 5.0
# The tests share two cores; a stall of the sender within this is no loss of data. The plans' own limit: `make bench-e2e`.
LIMIT_S = 8.0


def flown(browser: Browser, service: RunningService, recording: Path, folder: Path) -> end_to_end.Outcome:
    return end_to_end.fly(
        browser, service, recording, end_to_end.own_plan(recording, folder, limit_s=LIMIT_S), SPEED
    )  # fmt: skip


@pytest.mark.parametrize(
    ("recording", "from_s", "to_s"),
    [("r02-left-right-pair", 2.0, 34.0), ("r06-overcontrol", 0.0, 60.0)],
)
def test_a_recording_gives_the_same_events_live_and_every_call_is_heard(
    browser: Browser, service: RunningService, tmp_path: Path, recording: str, from_s: float, to_s: float
) -> None:
    path = stretch(tmp_path, from_s, to_s, recording)
    shutil.copy(RECORDINGS / f"{recording}.plan.yaml", path.with_name(f"{path.stem}.plan.yaml"))
    (tmp_path / "plan").mkdir()
    outcome = flown(browser, service, path, tmp_path / "plan")
    assert outcome.faults == []
    assert outcome.events > 0
    assert outcome.heard > 0


@pytest.mark.skipif(shared.folder() is None, reason="the flights with known truth are not beside this checkout")
def test_a_flight_with_known_truth_gives_the_same_events_live(
    browser: Browser, service: RunningService, tmp_path: Path
) -> None:
    folder = shared.folder()
    assert folder is not None
    outcome = flown(browser, service, folder / "d03_upright_left_half_turn.parquet", tmp_path)
    assert outcome.faults == []
    assert outcome.events > 0
