"""The flights with known truth beside the repository, through the detector: every spin found, none invented.

Truth: simulated flights of generic invented airframes (six-degree-of-freedom strip theory with emergent
autorotation), labelled from the simulator's own state. Tolerances are the numbers the product promises.
"""

import itertools
import json
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from tests.truth.shared import folder

from spinfloor.core.channels import REQUIRED_COLUMNS
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.defaults import default_plan

FLIGHTS = folder() or Path("no such folder")
NAMES = sorted(path.name.removesuffix(".truth.json") for path in FLIGHTS.glob("*.truth.json"))
FIVE = {"time_ns", *REQUIRED_COLUMNS}

pytestmark = pytest.mark.skipif(not NAMES, reason="the flights with known truth are not beside this checkout")


def _events(name: str, full: bool) -> tuple[int, list[Event]]:
    table = pq.read_table(FLIGHTS / f"{name}.parquet")
    columns = {c: table[c].to_numpy() for c in table.column_names if full or c in FIVE}
    block = FrameBlock.from_columns(columns)
    return int(block.time_ns[0]), Detector(sortie=name, plan=default_plan()).feed(block)


def _truth(name: str) -> list[dict[str, Any]]:
    spins: list[dict[str, Any]] = json.loads((FLIGHTS / f"{name}.truth.json").read_text(encoding="utf-8"))["spins"]
    return spins


@pytest.mark.parametrize("full", [True, False], ids=["all channels", "required five"])
@pytest.mark.parametrize("name", NAMES)
def test_every_spin_and_no_other(name: str, full: bool) -> None:
    origin, events = _events(name, full)
    truth = _truth(name)
    started = [event for event in events if event.kind is Kind.SPIN_STARTED]
    ended = [event for event in events if event.kind is Kind.SPIN_ENDED]
    assert [(e.data["orientation"], e.data["direction"]) for e in started] == [
        (spin["orientation"], spin["direction"]) for spin in truth
    ]
    assert len(ended) == len(truth)
    for event, spin in zip(ended, truth, strict=True):
        turns = event.data["turns"]
        assert isinstance(turns, float)
        assert abs(turns - spin["turns"]["start_to_spinend"]["about_flight_path"]) <= (0.10 if full else 0.35)
        if full:
            assert abs((event.time_ns - origin) * 1e-9 - spin["spin_end_s"]) <= 0.3


@pytest.mark.parametrize("name", NAMES)
def test_events_are_numbered_without_a_hole_and_never_known_before_they_happened(name: str) -> None:
    _, events = _events(name, True)
    assert [event.sequence for event in events] == list(range(len(events)))
    assert all(event.detected_ns >= event.time_ns for event in events)
    assert all(a.detected_ns <= b.detected_ns for a, b in itertools.pairwise(events))
