"""The method pages' tables of numbers against the detector's own."""

from __future__ import annotations

import math
import re

import pytest
from tests.places import ROOT

from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS
from spinfloor.core.detector import tuning
from spinfloor.core.detector.screening import HIGHEST, STEP_BASE, STEP_RATE
from spinfloor.core.detector.states import FLAGS

METHOD = ROOT / "docs" / "method"
ROW = re.compile(r"^\| (.+) \| ([^|]+) \| `([A-Z_]+)` \|$", re.MULTILINE)


def said(text: str) -> tuple[float, ...]:
    """The numbers of a cell, in the unit of `tuning`: degrees become radians."""
    factor = math.pi / 180.0 if "deg" in text else 1.0
    return tuple(float(number) * factor for number in re.findall(r"-?\d+(?:\.\d+)?", text))


def test_start_and_end_says_the_numbers_in_force() -> None:
    rows = ROW.findall((METHOD / "start-and-end.md").read_text(encoding="utf-8"))
    assert len(rows) > 30
    for _what, text, name in rows:
        value = getattr(tuning, name)
        expected = value if isinstance(value, tuple) else (value,)
        assert said(text) == pytest.approx(expected), f"docs/method/start-and-end.md says {text} for {name}"
        assert ("deg" in text) == name.endswith(("_RAD", "_RADPS")), name


RESULTS = {
    "index.md",
    "bibliography.md",
    "truth.md",
    "prediction.md",
    "load.md",
    "performance.md",
    "truth-table.md",
    "unseen-table.md",
    "prediction-table.md",
}


@pytest.mark.parametrize("name", sorted({p.name for p in METHOD.glob("*.md")} - RESULTS))
def test_a_method_states_its_limits_and_its_checks(name: str) -> None:
    page = (METHOD / name).read_text(encoding="utf-8")
    assert re.search(r"^(## Limits|Limits:)", page, re.MULTILINE), f"{name} states no limits"
    assert "## Checks" in page, f"{name} names no checks"


def test_every_quality_flag_is_explained() -> None:
    page = (METHOD / "quality.md").read_text(encoding="utf-8")
    assert re.findall(r"^\| ([a-z ]+) \| ", page.partition("## Wild")[0], re.MULTILINE)[1:] == list(FLAGS)


def test_quality_says_the_steps_in_force() -> None:
    page = (METHOD / "quality.md").read_text(encoding="utf-8").partition("## Wild")[2].partition("## Time")[0]
    steps = {
        "roll_rate_dps": (60, 1500, 1000), "pitch_rate_dps": (60, 1200, 1000), "yaw_rate_dps": (50, 900, 1000),
        "alpha_deg": (20, 500, 181), "calibrated_airspeed_kt": (20, 150, 700), "normal_load_g": (4, 80, 30),
        "pressure_altitude_ft": (130, 900, 100_000),
    }  # fmt: skip
    for name, expected in steps.items():
        at = CHANNEL_INDEX[name]
        found = [table[at] / CHANNELS[at].si_per_unit for table in (STEP_BASE, STEP_RATE, HIGHEST)]
        assert found == pytest.approx(expected), name
        assert all(f"{number:,}" in page for number in expected), name
