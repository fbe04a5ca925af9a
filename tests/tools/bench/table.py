"""One table of results, and the guard that compares ratios with the committed baseline."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

BASELINE = Path(__file__).with_name("baseline.json")
TOLERANCE = 0.15
KEPT_RUNS = 5
Baseline = dict[str, list[float]]


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


def moved(rows: list[Row], baseline: Baseline) -> list[str]:
    """Sentences on the ratios that lie more than 15 % outside what the baseline's runs gave.

    Disks, and the slowest frame in a hundred, differ between two runs of the same code by more than that.
    """
    said = []
    for row in rows:
        if row.ratio is None or not baseline.get(row.key):
            continue
        low, high = min(baseline[row.key]), max(baseline[row.key])
        change = row.ratio / (high if row.ratio > high else low) - 1.0 if low > 0.0 else 0.0
        if not low <= row.ratio <= high and abs(change) > TOLERANCE:
            runs = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
            said.append(f"{row.key}: ratio {row.ratio:.3g}, baseline {runs} ({change:+.0%})")
    return said


def load_baseline() -> Baseline:
    """The committed ratios of each key, run by run, empty when there are none yet."""
    if not BASELINE.exists():
        return {}
    return {key: [float(v) for v in runs] for key, runs in json.loads(BASELINE.read_text(encoding="utf-8")).items()}


def save_baseline(rows: list[Row], *, begin: bool = False) -> None:
    """This run's ratios join the committed ones, or with `begin` replace them; those of parts that did not run stay."""
    ratios = load_baseline()
    for row in rows:
        if row.ratio is not None:
            before = [] if begin else ratios.get(row.key, [])
            ratios[row.key] = [*before, float(f"{row.ratio:.4g}")][-KEPT_RUNS:]
    lines = ",\n".join(f" {json.dumps(key)}: {json.dumps(runs)}" for key, runs in ratios.items())
    BASELINE.write_text("{\n" + lines + "\n}\n", encoding="utf-8")
