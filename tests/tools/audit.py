"""Known weaknesses in the packages of the lock, by pip-audit where it is installed and can reach its database.

Ends with 1 when something is found, with 0 when nothing is, or when it could not be asked (it says so).
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from typing import Any, Final

from tests.places import ROOT

LOCK: Final = ROOT / ".ci" / "lock.txt"
WITHIN_S: Final = 300.0


def found_in(report: dict[str, Any]) -> list[str]:
    """A line per weakness of pip-audit's JSON report."""
    return [
        f"{package['name']} {package['version']}: {weakness['id']}, mended in {', '.join(weakness['fix_versions']) or '?'}"
        for package in report.get("dependencies", [])
        for weakness in package.get("vulns", [])
    ]


def main() -> int:
    """Entry."""
    if importlib.util.find_spec("pip_audit") is None:
        print("not asked: pip-audit is not installed (pip install pip-audit)")
        return 0
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(LOCK), "--no-deps", "--disable-pip",
               "--format", "json", "--progress-spinner", "off"]  # fmt: skip
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=WITHIN_S, check=False)
        report = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, json.JSONDecodeError):
        print("not asked: the database of weaknesses can't be reached from here")
        return 0
    lines = found_in(report)
    print("\n".join(lines) if lines else f"nothing known against {len(report.get('dependencies', []))} packages")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
