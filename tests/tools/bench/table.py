"""One table of results, and the guard that compares ratios with the committed baseline."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

BASELINE = Path(__file__).with_name("baseline.json")
TOLERANCE = 0.15


@dataclass(frozen=True, slots=True)
class Row:
    """One measurement. `ratio` compares with a yardstick taken in the same run, so that machines cancel out."""

    key: str
    what: str
    value: float
    unit: str
    ratio: float | None = None
    against: str = ""
    target: str = ""


def as_text(rows: list[Row]) -> str:
    """Markdown table."""
    lines = ["| what | value | ratio | against | target |", "| --- | ---: | ---: | --- | --- |"]
    for row in rows:
        ratio = "" if row.ratio is None else f"{row.ratio:.3g}"
        lines.append(f"| {row.what} | {row.value:,.4g} {row.unit} | {ratio} | {row.against} | {row.target} |")
    return "\n".join(lines)


def moved(rows: list[Row], baseline: dict[str, float]) -> list[str]:
    """Sentences on the ratios that moved by more than 15 % from the baseline."""
    said = []
    for row in rows:
        if row.ratio is None or row.key not in baseline or baseline[row.key] == 0:
            continue
        change = row.ratio / baseline[row.key] - 1.0
        if abs(change) > TOLERANCE:
            said.append(f"{row.key}: ratio {row.ratio:.3g}, baseline {baseline[row.key]:.3g} ({change:+.0%})")
    return said


def load_baseline() -> dict[str, float]:
    """The committed ratios, empty when there are none yet."""
    if not BASELINE.exists():
        return {}
    return {key: float(value) for key, value in json.loads(BASELINE.read_text(encoding="utf-8")).items()}


def save_baseline(rows: list[Row]) -> None:
    """This run's ratios replace the committed ones; those of parts that did not run stay."""
    ratios = load_baseline() | {row.key: float(f"{row.ratio:.4g}") for row in rows if row.ratio is not None}
    BASELINE.write_text(json.dumps(ratios, indent=1) + "\n", encoding="utf-8")
