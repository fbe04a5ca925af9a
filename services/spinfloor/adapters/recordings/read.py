"""One call from a file to frames."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from spinfloor.adapters.recordings.contract import frames_from_contract
from spinfloor.adapters.recordings.dispatch import decode
from spinfloor.adapters.recordings.recording import Recording


def read_recording(path: str | Path, channel_map: Mapping[str, object] | None = None) -> Recording:
    """Read a recording.

    channel_map: the plan's `channel_map`, when the file uses its own names and units; without it the file must carry
    the contract's column names. Frames come in file order: time running backwards, repeats and NaN rows are kept for
    the detector to flag. Raises RecordingMissingError or RecordingError, each one sentence.
    """
    path = Path(path)
    source = decode(path)
    block = frames_from_contract(source, path.name)
    facts: dict[str, str | int | float] = {
        "name": path.name,
        "format": source.format,
        "bytes": path.stat().st_size,
        "rows": len(block),
        **source.facts,
    }
    return Recording(block, source.notes.as_tuple(), facts)
