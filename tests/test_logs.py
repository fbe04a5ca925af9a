"""Logs: JSON lines when nobody is at the terminal, and never a secret, not even in a traceback."""

from __future__ import annotations

import io
import json
import subprocess
import sys

import pytest

SECRET = "s3cr3t-of-a-token"
PROGRAM = f"""
import sys
{{terminal}}
import structlog
from spinfloor.logs import set_up_logs
set_up_logs()
def opened(token):
    raise ValueError("a defect")
try:
    opened("{SECRET[:6]}" + "{SECRET[6:]}")
except ValueError as error:
    structlog.get_logger("t").error("defect", path="/v1", exc_info=error)
"""
OF_LIBRARIES = """
import logging, warnings
from spinfloor.logs import set_up_logs
set_up_logs()
logging.getLogger("uvicorn.error").warning("Invalid HTTP request received.")
logging.getLogger("uvicorn.error").error("ASGI callable returned without completing handshake.")
logging.getLogger("some.library").info("too small to be told")
warnings.warn("an overflow", RuntimeWarning)
try:
    raise OSError("gone")
except OSError:
    logging.getLogger("asyncio").exception("a task ended")
"""
AS_TERMINAL = "sys.stderr.isatty = lambda: True"


@pytest.mark.parametrize("terminal", ["", AS_TERMINAL], ids=["file", "terminal"])
def test_a_traceback_shows_no_local_variables(terminal: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.replace("{terminal}", terminal)],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert "a defect" in done.stderr
    assert SECRET not in done.stderr
    if not terminal:
        line = json.loads(io.StringIO(done.stderr).readline())
        assert (line["event"], line["level"], line["path"]) == ("defect", "error", "/v1")
        assert line["timestamp"].endswith("Z")


def test_what_libraries_say_is_a_line_like_any_other() -> None:
    done = subprocess.run([sys.executable, "-c", OF_LIBRARIES], capture_output=True, text=True, timeout=60, check=True)
    lines = [json.loads(line) for line in done.stderr.splitlines()]
    assert [line["level"] for line in lines] == ["warning", "warning", "error"]
    assert lines[0]["event"] == "Invalid HTTP request received."
    assert "RuntimeWarning: an overflow" in lines[1]["event"]
    assert (lines[2]["event"], "OSError: gone" in lines[2]["exception"]) == ("a task ended", True)
