"""The page docs/method/performance.md: the measured table between its marks."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.tools.bench.table import Row, as_text
from tests.tools.measured_page import put_measured

PAGE: Final = ROOT / "docs" / "method" / "performance.md"


def write_page(rows: list[Row], page: Path = PAGE) -> None:
    """The table into the page. Raises ValueError when its marks are not there."""
    put_measured(page, [as_text(rows)])
