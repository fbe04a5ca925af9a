"""The cases as a page: error and bound by how many spins of the type came before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from tests.tools.prediction_bench.runner import EARLIER, Case

PROMISED_HELD, PROMISED_ERROR, PROMISED_AFTER = 0.90, 0.12, 3
GROUPS = {
    "card": "programmes flown by the card (stick 0.3 to 0.5 forward 0.3 to 0.7 s after the pedal, pull-out at 2.5 to 2.9 g)",
    "wide": "programmes flown as it came (stick 0.1 to 0.7 forward 0.1 to 1.2 s after the pedal, pull-out at 2.2 to 3.4 g)",
    "sorties": "single sorties of three spins, direction changing, no plan for the aircraft",
}
HEAD = (
    "| {0} | predictions | bound held | median error | nine in ten within | median bias | bound below the median by |"
)
RULE = "|---|---|---|---|---|---|---|"


def promise_kept(cases: Sequence[Case]) -> bool:
    """The agreed numbers, over all programmes with full telemetry."""
    part = [c for c in cases if c.group != "sorties" and not c.five and c.earlier == PROMISED_AFTER]
    return _held(part) >= PROMISED_HELD and _median(part) < PROMISED_ERROR


def report(cases: Sequence[Case]) -> str:
    """The whole page."""
    out = [
        "# Predicted against actual: the table",
        "",
        "Written by `make bench-prediction`; how it is made and what it means: [Prediction](prediction.md). Errors are of the",
        "altitude at level flight predicted when the recovery controls went in, as a share of the height the recovery lost.",
        "A positive bias is the unsafe side: the aircraft went lower than predicted.",
    ]
    for five in (False, True):
        out += ["", "## " + ("Rates and altitude only, the controls marked by hand" if five else "Full telemetry")]
        out += _by_earlier("every programme", [c for c in cases if c.five is five and c.group != "sorties"])
        for group, words in GROUPS.items():
            part = [c for c in cases if c.five is five and c.group == group]
            if part:
                out += _by_earlier(words, part)
    part = [c for c in cases if not c.five and c.earlier == PROMISED_AFTER]
    out += ["", "## By kind of spin, after three, full telemetry", "", HEAD.format("kind"), RULE]
    kinds = sorted({(c.group, c.kind) for c in part if c.group != "sorties"})
    out += [_row(f"{kind}, {group}", [c for c in part if (c.group, c.kind) == (group, kind)]) for group, kind in kinds]
    kept = "kept" if promise_kept(cases) else "NOT kept"
    out += [
        "",
        f"Promise (after three spins the 95 % bound in at least {PROMISED_HELD:.0%}, median error under "
        f"{PROMISED_ERROR:.0%} of the loss, every programme, full telemetry): {kept}.",
    ]
    return "\n".join(out)


def _by_earlier(words: str, cases: Sequence[Case]) -> list[str]:
    out = ["", words[0].upper() + words[1:] + ":", "", HEAD.format("earlier spins of the type"), RULE]
    present = sorted({c.earlier for c in cases})
    return out + [_row(str(k), [c for c in cases if c.earlier == k]) for k in present if k in (*EARLIER, 2)]


def _held(cases: Sequence[Case]) -> float:
    return float(np.mean([c.held for c in cases])) if cases else 0.0


def _median(cases: Sequence[Case]) -> float:
    return float(np.median([abs(c.error) for c in cases])) if cases else 1.0


def _row(name: str, cases: Sequence[Case]) -> str:
    errors = np.array([c.error for c in cases])
    return (
        f"| {name} | {len(cases)} | {_held(cases):.0%} | {_median(cases):.1%} | {np.quantile(abs(errors), 0.9):.0%} "
        f"| {np.median(errors):+.1%} | {np.median([c.allowance for c in cases]):.0%} |"
    )
