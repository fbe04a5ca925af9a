"""Where the repository keeps what tests and tools read."""

import os
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]
RECORDINGS: Final = ROOT / "replay_data"
CHROMIUM: Final = os.environ.get("CHROMIUM", "/usr/bin/chromium")
