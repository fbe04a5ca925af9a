"""What every test may ask for."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings
from hypothesis.database import DirectoryBasedExampleDatabase, ExampleDatabase
from tests.command_line import Done, Run
from tests.crashed_worker import pytest_xdist_make_scheduler as pytest_xdist_make_scheduler
from tests.places import ROOT

from spinfloor.cli import main

# Whatever the tests speak to is on this machine; a proxy of the network around it knows nothing of that.
for name in ("http_proxy", "https_proxy", "all_proxy"):
    os.environ.pop(name, None)
    os.environ.pop(name.upper(), None)

# How long an example takes says more about the machine's other work than about the code.
# `make test` looks at the same examples on every machine and day; `make quick` at new ones, and keeps those that failed.
STEADY = "SPINFLOOR_STEADY" in os.environ
KEPT: ExampleDatabase | None = None
if not STEADY and os.access(ROOT, os.W_OK):
    KEPT = DirectoryBasedExampleDatabase(ROOT / ".hypothesis" / "examples")
settings.register_profile("suite", deadline=None, derandomize=STEADY, database=KEPT)
settings.load_profile("suite")


@pytest.fixture
def run(capfdbinary: pytest.CaptureFixture[bytes]) -> Run:
    """The command line in this process, through the same entry as the installed script; it ends with an exit code."""

    def call(*arguments: object) -> Done:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capfdbinary.readouterr()
        code = ended.value.code or 0
        return Done(code if isinstance(code, int) else 1, out, err.decode())

    return call
