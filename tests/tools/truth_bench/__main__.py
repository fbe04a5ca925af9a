"""At least 200 flights with known truth through the detector: missed, false, wrong, late.

    python -m tests.tools.truth_bench            every flight, clean and with six rotating degradations, both column sets
    python -m tests.tools.truth_bench --quick    every third flight, clean and two degradations, nothing written
    python -m tests.tools.truth_bench --all      every flight with every degradation
    python -m tests.tools.truth_bench --unseen 5000   flights drawn now from this seed on, that nothing was tuned with
    python -m tests.tools.truth_bench --only flat --findings FILE

Writes docs/method/truth-table.md, or unseen-table.md (neither with --quick or --only). Ends with 1 when a limit of LIMITS is broken.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from tests.places import ROOT
from tests.tools.truth_bench import table
from tests.tools.truth_bench.runner import jobs, run_all, unseen_flights
from tests.tools.truth_bench.score import Score

PAGE = ROOT / "docs" / "method" / "truth-table.md"
UNSEEN = PAGE.with_name("unseen-table.md")


def summary(scores: list[Score]) -> list[str]:
    """Four lines: clean and all, full and five."""
    out = [table.HEAD.format(what="set"), table.RULE]
    for five in (False, True):
        part = [s for s in scores if s.five is five]
        name = "five" if five else "full"
        out.append(table.row(f"{name}, clean", [s for s in part if s.degradation == "none, 100 Hz"]))
        out.append(table.row(f"{name}, all", part))
    return out


def main() -> int:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--all", action="store_true", help="every degradation for every flight")
    parser.add_argument("--only", default="", help="flights whose 'source situation' contains this")
    parser.add_argument(
        "--unseen", type=int, metavar="SEED", help="fresh flights from this seed on; takes minutes to make"
    )
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--findings", type=Path, help="write the failures here")
    options = parser.parse_args()
    began = time.monotonic()
    faults = None if options.all else 2 if options.quick else 6
    flights = None if options.unseen is None else unseen_flights(options.unseen)
    todo = jobs(faults, every=3 if options.quick and not options.only else 1, only=options.only, flights=flights)
    scores = list(run_all(todo, options.processes))
    if options.findings:
        options.findings.write_text(table.findings(scores, time.strftime("%H:%M")))
    if not (options.quick or options.only):
        page = PAGE if options.unseen is None else UNSEEN
        page.write_text(table.report(scores, options.unseen) + "\n")
        print(f"wrote {page.relative_to(Path.cwd()) if page.is_relative_to(Path.cwd()) else page}")
    print("\n".join(summary(scores)))
    print(f"{len(todo)} flights, {len(scores)} runs, {time.monotonic() - began:.0f} s")
    broken = sum(s.missed + s.false + s.wrong_way + s.wrong_side for s in scores if s.degradation == "none, 100 Hz")
    return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())
