"""Runs the test suite in three passes: the plain tests on both cores, then servers, then a browser, each by itself.

Timings matter to a browser and to servers, so they get the machine to themselves. They don't share a process either:
Playwright keeps an event loop running in the main thread for as long as its browser is open, and asyncio tests then can't
start theirs. When something fails in a pass, its files are run once more, whole and in the same order, with the machine to
themselves: what then passes hung on what else ran, and is named as unsteady; what one test leaves to the next in its file fails
again. A test that crashes its process has failed, whatever it would do the next time. Examples that tests draw are the same in
every run (SPINFLOOR_STEADY). Ends with one line of totals.
"""

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
PASSES = (
    ("plain", ["-n", "2", "--dist", "loadfile", "-m", "not browser and not servers"]),
    ("servers", ["-m", "servers and not browser"]),
    ("browser", ["-m", "browser"]),
)
WARM_UP = "import spinfloor.doctor as d; print(d.check_kernel().sentence)"  # its cache is shared by every test process
CRASHED = re.compile(r"^worker '\w+' crashed while running '.+'$")
FAILED = re.compile(r"^(?:FAILED|ERROR) ([^\s\[]+\.py[^\s\[]*(?:\[.*?\])?)(?: - |$)")
FEW = 12  # more than so many are no matter of what else ran
COUNT = re.compile(r"(\d+) (passed|failed|errors?|skipped)")


class Run(NamedTuple):
    """Exit code, the counts of the closing line, what was said of workers that crashed, and the tests that failed."""

    code: int
    counts: dict[str, int]
    crashed: list[str]
    failed: list[str]


def _pytest(options: list[str]) -> Run:
    run = subprocess.Popen(
        [sys.executable, "-m", "pytest", "-q", "--color=no", "--durations=8", *options],
        cwd=ROOT,
        env=os.environ | {"SPINFLOOR_STEADY": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert run.stdout is not None
    last, crashed, failed = "", [], []
    for line in run.stdout:
        print(line, end="", flush=True)
        last = line if COUNT.search(line) else last
        crashed += CRASHED.findall(line.strip())
        failed += FAILED.findall(line.strip())
    counts = {"passed": 0, "failed": 0, "skipped": 0}
    for number, word in COUNT.findall(last):
        counts["failed" if word.startswith("error") else word] += int(number)
    code = run.wait()
    if code not in (0, 1):  # it died, or every worker did before its first test
        counts["failed"] += 1
        crashed.append(f"the run itself ended with exit code {code}")
    return Run(code, counts, crashed, failed)


def _pass(title: str, options: list[str]) -> Run:
    """One pass, and once more the files of what failed in it, when that is little and no process has crashed."""
    run = _pytest(options)
    if run.code == 1 and run.failed and not run.crashed and len(run.failed) <= FEW:
        print(f"== {title}: the files of what failed, once more alone", flush=True)
        files = sorted({name.split("::")[0] for name in run.failed})
        again = _pytest([*options[options.index("-m") :], *files])
        counts = dict(run.counts, failed=again.counts["failed"])
        counts["passed"] += max(0, run.counts["failed"] - again.counts["failed"])
        for name in sorted(set(run.failed) - set(again.failed)):
            print(f"unsteady: {name} passed only when its file ran alone", flush=True)
        run = Run(again.code, counts, again.crashed, again.failed)
    for what in run.crashed:
        print(f"== {title}: {what}", flush=True)
    return run


def main() -> int:
    totals = {"passed": 0, "failed": 0, "skipped": 0}
    worst = 0
    print("== the kernel compiles once, for all that follows", flush=True)
    subprocess.run([sys.executable, "-c", WARM_UP], cwd=ROOT, check=True)
    for title, options in PASSES:
        print(f"== {title}", flush=True)
        run = _pass(title, options)
        for key, number in run.counts.items():
            totals[key] += number
        worst = worst or run.code
    print(f"{totals['passed']} passed, {totals['failed']} failed, {totals['skipped']} skipped", flush=True)
    return worst if worst or totals["passed"] else 5


if __name__ == "__main__":
    sys.exit(main())
