"""Runs the test suite in three passes: the plain tests on both cores, then servers, then a browser, each by itself.

Timings matter to a browser and to servers, so they get the machine to themselves. They don't share a process either:
Playwright keeps an event loop running in the main thread for as long as its browser is open, and asyncio tests then can't
start theirs. What fails in a pass is tried once more alone, and named as unsteady when it then passes. A test that crashes
its process has failed, whatever it would do the next time. Ends with one line of totals.
"""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PASSES = (
    ("plain", ["-n", "2", "--dist", "loadfile", "-m", "not browser and not servers"]),
    ("servers", ["-m", "servers and not browser"]),
    ("browser", ["-m", "browser"]),
)
WARM_UP = "import spinfloor.doctor as d; print(d.check_kernel().sentence)"  # its cache is shared by every test process
CRASHED = re.compile(r"^worker '\w+' crashed while running '.+'$")
COUNT = re.compile(r"(\d+) (passed|failed|errors?|skipped)")


def _pytest(options: list[str]) -> tuple[int, dict[str, int], list[str]]:
    """Exit code, the counts of the closing line and what was said of workers that crashed."""
    run = subprocess.Popen(
        [sys.executable, "-m", "pytest", "-q", "--durations=8", *options],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert run.stdout is not None
    last, crashed = "", []
    for line in run.stdout:
        print(line, end="", flush=True)
        last = line if COUNT.search(line) else last
        crashed += CRASHED.findall(line.strip())
    counts = {"passed": 0, "failed": 0, "skipped": 0}
    for number, word in COUNT.findall(last):
        counts["failed" if word.startswith("error") else word] += int(number)
    code = run.wait()
    if code not in (0, 1):  # it died, or every worker did before its first test
        counts["failed"] += 1
        crashed.append(f"the run itself ended with exit code {code}")
    return code, counts, crashed


def main() -> int:
    totals = {"passed": 0, "failed": 0, "skipped": 0}
    worst = 0
    print("== the kernel compiles once, for all that follows", flush=True)
    subprocess.run([sys.executable, "-c", WARM_UP], cwd=ROOT, check=True)
    for title, options in PASSES:
        print(f"== {title}", flush=True)
        code, counts, crashed = _pytest(options)
        for what in crashed:
            print(f"== {title}: {what}", flush=True)
        if code == 1 and not crashed and counts["failed"] <= 12:
            print(f"== {title}: what failed, once more alone", flush=True)
            code, again, _ = _pytest(["--last-failed", "--last-failed-no-failures", "none"])
            counts["passed"] += again["passed"]
            counts["failed"] = again["failed"]
            if code == 0:
                print(f"unsteady: {again['passed']} tests passed only when run alone", flush=True)
        for key, number in counts.items():
            totals[key] += number
        worst = worst or code
    print(f"{totals['passed']} passed, {totals['failed']} failed, {totals['skipped']} skipped", flush=True)
    return worst if worst or totals["passed"] else 5


if __name__ == "__main__":
    sys.exit(main())
