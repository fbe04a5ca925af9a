"""Render the shipped sounds again into the package: `python -m tests.tools.build_clips` (needs espeak-ng).

With `--plan PLAN --out DIR` it records a plan's own call words instead; see spinfloor_dashboard.sound_builder.
"""

import sys

from tests.places import ROOT

from spinfloor_dashboard.sound_builder import main

SHIPPED = ROOT / "dashboard" / "spinfloor_dashboard" / "assets" / "sounds"

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or ["--out", str(SHIPPED)]))
