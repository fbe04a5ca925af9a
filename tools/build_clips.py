"""Render the shipped sounds again into the package: `python tools/build_clips.py` (needs espeak-ng).

With `--plan PLAN --out DIR` it records a plan's own call words instead; see spinfloor_dashboard.sound_builder.
"""

import sys
from pathlib import Path

from spinfloor_dashboard.sound_builder import main

SHIPPED = Path(__file__).parent.parent / "dashboard" / "spinfloor_dashboard" / "assets" / "sounds"

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or ["--out", str(SHIPPED)]))
