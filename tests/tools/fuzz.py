"""Coverage-guided fuzzing of every decoder with atheris, where it is installed: `make fuzz` (SECONDS=20 each).

Usage: python -m tests.tools.fuzz [--seconds 20] [NAME ...]. Bytes that end in anything but a documented refusal are kept in
build/fuzz/ and the command ends with 1. Without atheris it says so and ends with 0: hypothesis over the same decoders
(tests/fuzz) is in the suite.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import pkgutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

from tests.places import ROOT

KEPT: Final = ROOT / "build" / "fuzz"
COMPILED: Final = [
    "spinfloor.core.physics",
    "spinfloor.core.recovery",
    "spinfloor.core.detector",
]  # numba's, as they are
FOLLOWED: Final = ["spinfloor.ingest", "spinfloor.adapters", "spinfloor.ports", "spinfloor.api", "spinfloor.core.plan"]
LONGEST: Final = 4096


def one(name: str, seconds: int, corpus: Path) -> None:
    """Fuzz a decoder in this process; libFuzzer ends the process."""
    import atheris

    for package in COMPILED:
        for module in pkgutil.iter_modules(importlib.import_module(package).__path__, package + "."):
            importlib.import_module(module.name)
    with atheris.instrument_imports(include=FOLLOWED):
        from tests.fuzz.decoders import BY_NAME, tried
    decoder = BY_NAME[name]
    (corpus / "example").write_bytes(decoder.example())
    KEPT.mkdir(parents=True, exist_ok=True)
    prefix = KEPT / (name.replace(" ", "-") + "-")
    options = [f"-max_total_time={seconds}", f"-max_len={LONGEST}", f"-artifact_prefix={prefix}", "-rss_limit_mb=2048"]
    atheris.Setup([sys.argv[0], *options, "-verbosity=0", "-print_final_stats=1", str(corpus)],
                  lambda data: tried(decoder, data))  # fmt: skip
    atheris.Fuzz()


def child(name: str, seconds: int) -> tuple[bool, str]:
    """Fuzz a decoder in a process of its own: (nothing found, what it said)."""
    with tempfile.TemporaryDirectory() as corpus:
        done = subprocess.run(
            [sys.executable, "-m", "tests.tools.fuzz", "--one", name, "--seconds", str(seconds), "--corpus", corpus],
            cwd=ROOT, capture_output=True, text=True, timeout=seconds + 300, check=False,
        )  # fmt: skip
    return done.returncode == 0, done.stdout + done.stderr


def count_of(said: str) -> str:
    """How many inputs were tried, out of libFuzzer's closing figures."""
    found = [line.rpartition(":")[2].strip() for line in said.splitlines() if "number_of_executed_units" in line]
    return found[0] if found else "?"


def main() -> int:
    """Entry."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="decoders; default all")
    parser.add_argument("--seconds", type=int, default=20, help="for each decoder")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    parser.add_argument("--corpus", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        one(given.one, given.seconds, given.corpus)
        return 0
    if importlib.util.find_spec("atheris") is None:
        print("atheris is not installed (pip install atheris); tests/fuzz bends the same decoders with hypothesis")
        return 0
    from tests.fuzz.decoders import DECODERS

    bad = 0
    for name in [d.name for d in DECODERS if not given.names or d.name in given.names]:
        clean, said = child(name, given.seconds)
        print(f"{name:24} {count_of(said):>10} inputs  {'clean' if clean else 'FOUND SOMETHING'}", flush=True)
        if not clean:
            bad += 1
            print(said[-3000:], flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
