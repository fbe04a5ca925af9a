"""The page docs/method/performance.md: the measured table between its marks."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.tools.bench.table import Row, as_text

PAGE: Final = ROOT / "docs" / "method" / "performance.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"


def write_page(rows: list[Row], page: Path = PAGE) -> None:
    """Replace what lies between the two marks. Raises ValueError when they are not there."""
    text = page.read_text(encoding="utf-8")
    before, found, rest = text.partition(BEGIN)
    _, ended, after = rest.partition(END)
    if not found or not ended:
        raise ValueError(f"{page.name} has lost its marks {BEGIN} and {END}")
    when = datetime.now(UTC).strftime("%Y-%m-%d")
    said = f"Measured {when} on a machine with {os.cpu_count()} cores; sources and watchers run on the same machine."
    page.write_text("\n\n".join([before + BEGIN, said, as_text(rows), END + after]), encoding="utf-8")
