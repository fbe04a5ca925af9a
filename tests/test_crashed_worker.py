"""A test that kills its worker: the run ends, names test and worker, and every other test has run once."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests import conftest, crashed_worker
from tests.places import ROOT

LIMIT_S = 240  # five seconds on a quiet machine; below what pytest-timeout gives a test
HARMLESS = "import pytest\n\n\n@pytest.mark.parametrize('n', range({tests}))\ndef test_harmless(n):\n    pass\n"
DEADLY = """import os
import signal


def test_before():
    pass


def test_deadly():
    {death}


def test_behind():
    pass
"""
SEGMENTATION_FAULT = "os.kill(os.getpid(), signal.SIGSEGV)"


def _run(place: Path, files: dict[str, str]) -> tuple[int, str]:
    for name, text in files.items():
        (place / name).write_text(text, encoding="utf-8")
    (place / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    only = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}
    plugins = ("-p", "xdist", "-p", "tests.crashed_worker")
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "--color=no", *plugins, "-n", "2", "--dist", "loadfile"],
        cwd=place,
        env=clean | only,
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    return run.returncode, run.stdout


@pytest.mark.parametrize("death", [SEGMENTATION_FAULT, "os._exit(3)"])
@pytest.mark.parametrize("tests", [1, 4])
def test_the_run_ends_and_names_test_and_worker(tmp_path: Path, death: str, tests: int) -> None:
    """With files of one test too: a worker is never left waiting for the next."""
    files = {f"test_{letter}.py": HARMLESS.format(tests=tests) for letter in "abcxyz"}
    code, said = _run(tmp_path, files | {"test_deadly.py": DEADLY.format(death=death)})
    assert code == 1
    assert "crashed while running 'test_deadly.py::test_deadly'" in said
    assert f"1 failed, {6 * tests + 2} passed" in said, said


def test_two_deaths_are_two_failures(tmp_path: Path) -> None:
    files = {f"test_{letter}.py": HARMLESS.format(tests=2) for letter in "abc"}
    files |= {f"test_deadly_{n}.py": DEADLY.format(death=SEGMENTATION_FAULT) for n in (1, 2)}
    code, said = _run(tmp_path, files)
    assert code == 1
    assert "2 failed, 10 passed" in said, said


def test_the_suite_runs_with_it() -> None:
    assert conftest.pytest_xdist_make_scheduler is crashed_worker.pytest_xdist_make_scheduler
