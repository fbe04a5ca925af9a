"""Make the rehearsal recordings of replay_data/ from the flight simulator: an invented programme, nothing measured.

    python -m tests.tools.replay_data [--out replay_data] [--only ID]

Every run writes the same files. Each recording has a plan, and a page saying what to listen for; `index.yaml` lists them.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import yaml
from tests.places import RECORDINGS
from tests.tools.replay_data.making import make
from tests.tools.replay_data.programme import PROGRAMME


def main() -> None:
    """Write everything, or one rehearsal."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--out", type=Path, default=RECORDINGS)
    parser.add_argument("--only", help="one rehearsal's id; the index is then left alone")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    chosen = [r for r in PROGRAMME if options.only in (None, r.id)]
    if not chosen:
        parser.error(f"no rehearsal is called {options.only}")
    lines = [make(item, options.out) for item in chosen]
    if options.only is None:
        (options.out / "index.yaml").write_text(
            yaml.safe_dump({"recordings": lines}, sort_keys=False, allow_unicode=True)
        )


if __name__ == "__main__":
    main()
