"""Where a command's bytes go."""

from __future__ import annotations

import sys
from pathlib import Path

STANDARD = Path("-")


def write_out(data: bytes, out: Path | None) -> None:
    """To a file, whole or not at all; None or - is standard output. Raises what `write_whole` raises, OSError otherwise."""
    if out is None or out == STANDARD:
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    from spinfloor.adapters.exports.files import write_whole

    write_whole(out, data)
