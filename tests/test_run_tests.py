"""The test run as CI starts it, over small suites: what it forgives when something fails, and what it doesn't."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.places import ROOT

INI = "[pytest]\naddopts = -ra -p xdist\nmarkers =\n    browser\n    servers\n"
OTHERS = """import pytest


@pytest.mark.servers
def test_servers():
    pass


@pytest.mark.browser
def test_browser():
    pass
"""
LEFT_BEHIND = """left = []


def test_one():
    left.append(1)


def test_other():
    assert not left
"""
ONCE = """import pathlib
import pytest

HERE = pathlib.Path(__file__).with_suffix(".seen")


@pytest.mark.parametrize("what", ["a - b"])
def test_unsteady(what):
    seen = HERE.exists()
    HERE.touch()
    assert seen


def test_steady():
    pass
"""


def _run(place: Path, text: str) -> tuple[int, str]:
    (place / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run_tests.py", place / ".ci")
    for name, content in (("pytest.ini", INI), ("test_others.py", OTHERS), ("test_it.py", text)):
        (place / name).write_text(content, encoding="utf-8")
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    only = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, ".ci/run_tests.py"],
        cwd=place,
        env=clean | only,
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    return done.returncode, done.stdout


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        (LEFT_BEHIND, 1, "3 passed, 1 failed, 0 skipped"),  # it would pass alone
        (ONCE, 0, "4 passed, 0 failed, 0 skipped"),
    ],
    ids=["what one test leaves to the next", "what hangs on the moment"],
)
def test_only_what_passes_with_its_whole_file_is_forgiven(tmp_path: Path, text: str, code: int, says: str) -> None:
    returned, said = _run(tmp_path, text)
    assert (returned, said.splitlines()[-1]) == (code, says), said
    named = [line for line in said.splitlines() if line.startswith("unsteady: ")]
    assert named == (
        ["unsteady: test_it.py::test_unsteady[a - b] passed only when its file ran alone"] if code == 0 else []
    )
