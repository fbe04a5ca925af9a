"""Predicted against actual altitude at level flight, at the moment the recovery controls go in, as learning proceeds.

    python -m tests.tools.prediction_bench             every programme, both column sets, writes docs/method/prediction-table.md
    python -m tests.tools.prediction_bench --quick     a third of the programmes, nothing written

A programme is one airframe of the truth flights flown again and again (tests/truth/programmes.py); what each recovery
taught is handed to the next flight just as the service does it. Ends with 1 when the promise is broken: after three
spins of the type, the 95 % bound in at least 90 % of cases and a median error under 12 % of the loss.
"""

from __future__ import annotations

import argparse
import time

from tests.places import ROOT
from tests.tools.prediction_bench import runner, table

PAGE = ROOT / "docs" / "method" / "prediction-table.md"


def main() -> int:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    cases = runner.run_all(runner.programmes(quick=options.quick), options.processes)
    page = table.report(cases)
    print(page)
    if not options.quick:
        PAGE.write_text(page + "\n")
        print(f"wrote {PAGE}")
    print(f"{len(cases)} predictions, {time.monotonic() - began:.0f} s")
    return 0 if table.promise_kept(cases) else 1


if __name__ == "__main__":
    raise SystemExit(main())
