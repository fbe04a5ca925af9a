"""Plans on disk: YAML or JSON files to a checked plan."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from pathlib import Path
from typing import Final

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.plan.load import MOST_CHARACTERS, parse_plan
from spinfloor.core.plan.model import Plan

MOST_BYTES: Final = 4 * MOST_CHARACTERS  # UTF-8 takes at most four bytes a character


class PlanFileError(SpinfloorError):
    """The file could not be read at all."""

    code = "plan-file-unreadable"
    http_status = 422


def load_plan(path: Path) -> Plan:
    """The plan in a file, - is standard input. Raises PlanFileError when unreadable, PlanError with every fault when it is
    no plan."""
    try:
        with nullcontext(sys.stdin.buffer) if path == Path("-") else path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise PlanFileError(
            expected=f"a readable plan file at {path}", got=error.strerror or str(error), now="no plan was loaded"
        ) from error
    if len(data) > MOST_BYTES:
        raise PlanFileError(
            expected=f"a plan of at most {MOST_BYTES:,} bytes", got="a larger file", now="no plan was loaded"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlanFileError(
            expected=f"{path} to be text in UTF-8",
            got=f"other bytes at position {error.start}",
            now="no plan was loaded",
        ) from error
    return parse_plan(text)
