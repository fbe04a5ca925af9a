"""The scores as a table in Markdown, and the failures as a list."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from tests.tools.truth_bench.score import Score

HEAD = (
    "| {what} | runs | spins | missed | false | split | wrong way | wrong side | delay median s | p95 s "
    "| turn error median | p95 | stop error median s | p95 s | 95 % interval of turns holds "
    "| of altitude at the end | recovery controls told within 0.5 s |"
)
RULE = "| --- " + "| ---: " * 16 + "|"


def _q(values: Sequence[float], q: float) -> str:
    return "-" if not values else f"{float(np.percentile(np.abs(values), q)):.2f}"


def _share(values: Sequence[bool]) -> str:
    return "-" if not values else f"{100 * float(np.mean(values)):.0f} % of {len(values)}"


def row(name: str, scores: Sequence[Score]) -> str:
    """One line over some runs."""
    delays = [d for s in scores for d in s.delay_s]
    turns = [e for s in scores for e in s.turn_error]
    stops = [e for s in scores for e in s.stop_error_s]
    covered = [c for s in scores for c in s.covered]
    counts = [sum(getattr(s, k) for s in scores) for k in ("true_spins", "missed", "false", "split")]
    counts += [sum(s.wrong_way for s in scores), sum(s.wrong_side for s in scores)]
    cells = [name, len(scores), *counts, _q(delays, 50), _q(delays, 95), _q(turns, 50), _q(turns, 95)]
    cells += [_q(stops, 50), _q(stops, 95), _share(covered)]
    cells += [_share([c for s in scores for c in s.altitude_covered])]
    cells += [_share([c for s in scores for c in s.controls_seen])]
    return "| " + " | ".join(str(c) for c in cells) + " |"


def grouped(what: str, scores: Sequence[Score], key: Callable[[Score], str], order: Iterable[str] = ()) -> list[str]:
    """A table with one line per value of `key`, and a total."""
    groups: dict[str, list[Score]] = {name: [] for name in order}
    for s in scores:
        groups.setdefault(key(s), []).append(s)
    lines = [HEAD.format(what=what), RULE]
    lines += [row(name, some) for name, some in groups.items() if some]
    return [*lines, row("**all**", scores), ""]


def by_mode(scores: Sequence[Score]) -> list[str]:
    """Delay, turn error, stop error and how often the interval holds, by the true mode of each spin."""
    lines = [
        "| mode | spins | delay median s | p95 s | turn error median | p95 | stop error median s | p95 s "
        "| 95 % interval of turns holds |",
        "| --- " + "| ---: " * 8 + "|",
    ]
    for mode in ("steep", "moderately steep", "moderately flat", "flat", "inverted"):
        pairs = [(s, i) for s in scores for i, m in enumerate(s.modes) if m == mode]
        delays = [s.delay_s[i] for s, i in pairs]
        turns = [error for s in scores for m, error in s.turn_error_of if m == mode]
        stops = [s.stop_error_s[i] for s, i in pairs if len(s.stop_error_s) == len(s.modes)]
        held = [held for s in scores for m, held in s.covered_of if m == mode]
        cells = [
            _q(delays, 50),
            _q(delays, 95),
            _q(turns, 50),
            _q(turns, 95),
            _q(stops, 50),
            _q(stops, 95),
            _share(held),
        ]
        lines.append(f"| {mode} | {len(pairs)} | {' | '.join(cells)} |")
    return [*lines, ""]


def _opening(unseen_from: int | None) -> tuple[str, str]:
    if unseen_from is None:
        return "# The detector against flights with known truth", "Written by `make bench-truth`"
    how = (
        f"Written by `python -m tests.tools.truth_bench --unseen {unseen_from}`, on flights drawn from that seed on. No rule and no "
        "threshold had been looked at with them when the draw was first made; what they showed has been mended since, so a "
        "fresh judgement needs a fresh seed. This draw"
    )
    return "# Flights nothing was tuned with", how


def report(scores: Sequence[Score], unseen_from: int | None = None) -> str:
    """The whole page."""
    clean = [s for s in scores if s.degradation == "none, 100 Hz"]
    flights = {(s.source, s.situation, s.seed) for s in scores}
    sources = sorted({f[0] for f in flights})
    named = ", ".join(f"{sum(f[0] == x for f in flights)} {x}" for x in sources)
    title, how = _opening(unseen_from)
    lines = [title, ""]
    lines += [f"{how}: {len(flights)} flights ({named}), {len(scores)} runs. ", ""]
    lines += ["How the flights are made and what their truth means: [truth](truth.md). *Missed*: a true spin without a"]
    lines += [
        "detection. *False*: a detection without a spin. *Split*: a second detection of one spin. *Wrong way*: left for"
    ]
    lines += [
        "right; *wrong side*: upright for inverted. Turn errors are about the flight path at the spin's end. Errors are"
    ]
    lines += [
        "absolute values. The interval is turns ± 1.96 of the stated standard deviation, at every turn and at the end.",
        "*Recovery controls*: only where their telemetry is there.",
        "",
    ]
    for five, title in ((False, "All channels"), (True, "Rates and altitude only")):
        part = [s for s in scores if s.five is five]
        lines += [f"## {title}", "", "### Undisturbed, by situation", ""]
        some = [s for s in clean if s.five is five]
        lines += grouped(
            "situation", some, lambda s: f"{s.source}: {s.situation}" if s.source != "ours" else s.situation
        )
        lines += ["### By degradation", "", *grouped("degradation", part, lambda s: s.degradation)]
        lines += ["### By true mode, every degradation", "", *by_mode(part)]
    return "\n".join(lines)


def findings(scores: Sequence[Score], stamp: str) -> str:
    """The failures, worst kinds first."""
    lines = [f"# Truth findings, {stamp}", ""]
    for five in (False, True):
        part = [s for s in scores if s.five is five]
        lines += [f"## {'required five' if five else 'full'}", "", HEAD.format(what="set"), RULE]
        lines += [row("clean", [s for s in part if s.degradation == "none, 100 Hz"]), row("all", part), ""]
    lines += ["## Failures (source situation-seed, columns, degradation: what)", ""]

    def weight(s: Score) -> int:
        return -(1000 * (s.missed + s.false + s.wrong_side + s.wrong_way) + 50 * (s.split + s.unended) + len(s.remarks))

    for s in sorted((s for s in scores if s.remarks), key=weight):
        columns = "five" if s.five else "full"
        lines.append(f"- {s.source} {s.situation} seed {s.seed}, {columns}, {s.degradation}: {'; '.join(s.remarks)}")
    return "\n".join(lines) + "\n"
