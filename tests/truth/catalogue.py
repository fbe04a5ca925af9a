"""Which draws of each situation are used: `catalogue.txt`, found once by `python -m tests.truth.catalogue --search`.

A draw is taken when its truth is what the situation promises (`situations.credible`). Detectors have no say in it.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.truth.keep import kept
from tests.truth.situations import OTHERS, SPINS, build, credible

FILE = Path(__file__).with_name("catalogue.txt")
PER_SPIN, PER_OTHER, LAST_SEED = 9, 5, 60


def listed(file: Path) -> list[tuple[str, int]]:
    """(situation, seed) of a catalogue: a line `situation: seed seed ...` each."""
    out = []
    for line in file.read_text().splitlines():
        name, _, seeds = line.partition(":")
        out += [(name, int(seed)) for seed in seeds.split()]
    return out


def entries() -> list[tuple[str, int]]:
    """(situation, seed) of every flight of our own simulator in the benchmark."""
    return listed(FILE)


def unseen(first_seed: int, per_spin: int = 8, per_other: int = 5) -> list[tuple[str, int]]:
    """Credible draws from `first_seed` on, of every situation: flights that no threshold has been looked at with."""
    out: list[tuple[str, int]] = []
    for name in (*SPINS, *OTHERS):
        wanted = per_spin if name in SPINS else per_other
        found: list[int] = []
        for seed in range(first_seed, first_seed + LAST_SEED):
            if len(found) < wanted and credible(kept("ours", name, seed, build)):
                found.append(seed)
        out += [(name, seed) for seed in found]
    return out


def search(only: list[str], first_seed: int = 0) -> str:
    """The first credible seeds of every situation, one line each; `only` names those to search again."""
    lines = []
    known = {line.partition(":")[0]: line for line in FILE.read_text().splitlines()} if FILE.exists() else {}
    for name in (*SPINS, *OTHERS):
        if only and name not in only and name in known:
            lines.append(known[name])
            continue
        wanted = PER_SPIN if name in SPINS else PER_OTHER
        found: list[int] = []
        for seed in range(first_seed, first_seed + LAST_SEED):
            if len(found) < wanted and credible(build(name, seed)):
                found.append(seed)
        lines.append(f"{name}: {' '.join(map(str, found))}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    if "--search" not in sys.argv:
        raise SystemExit("use --search [situation ...] to write catalogue.txt anew, or those lines of it")
    FILE.write_text(search(sys.argv[sys.argv.index("--search") + 1 :]))
