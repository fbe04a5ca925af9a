"""Pages of which one part is measured: what a benchmark found stands between two marks."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"


def put_measured(page: Path, parts: list[str]) -> None:
    """Replace what lies between the two marks, the day and the machine first. Raises ValueError when they are not there."""
    text = page.read_text(encoding="utf-8")
    before, found, rest = text.partition(BEGIN)
    _, ended, after = rest.partition(END)
    if not found or not ended:
        raise ValueError(f"{page.name} has lost its marks {BEGIN} and {END}")
    when = datetime.now(UTC).strftime("%Y-%m-%d")
    said = f"Measured {when} on a machine with {os.cpu_count()} cores, sources and watchers on the same machine."
    page.write_text("\n\n".join([before + BEGIN, said, *parts, END + after]), encoding="utf-8")
