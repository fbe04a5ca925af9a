"""One call from a file to frames."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pydantic import ValidationError

from spinfloor.adapters.recordings.contract import frames_from_contract
from spinfloor.adapters.recordings.dispatch import decode
from spinfloor.adapters.recordings.mapping import frames_from_map
from spinfloor.adapters.recordings.recording import Recording, RecordingError
from spinfloor.core.plan.channel_map import ChannelMap


def read_recording(path: str | Path, channel_map: ChannelMap | Mapping[str, object] | None = None) -> Recording:
    """Read a recording.

    channel_map: the plan's `channel_map`, when the file uses its own names and units; without it the file must carry
    the contract's column names. Frames come in file order: time running backwards, repeats and NaN rows are kept for
    the detector to flag. Raises RecordingMissingError or RecordingError, each one sentence.
    """
    path = Path(path)
    mapped = None if channel_map is None else as_channel_map(channel_map)
    source = decode(path, mapped)
    block = frames_from_contract(source, path.name) if mapped is None else frames_from_map(source, mapped, path.name)
    facts: dict[str, str | int | float] = {
        "name": path.name,
        "format": source.format,
        "bytes": path.stat().st_size,
        "rows": len(block),
        **source.facts,
    }
    return Recording(block, source.notes.as_tuple(), facts)


def as_channel_map(given: ChannelMap | Mapping[str, object]) -> ChannelMap:
    """The checked map; RecordingError lists every fault by path."""
    if isinstance(given, ChannelMap):
        return given
    try:
        return ChannelMap.model_validate(given)
    except ValidationError as error:
        faults = [f"{'.'.join(map(str, e['loc'])) or 'channel_map'}: {e['msg']}" for e in error.errors()]
        raise RecordingError(
            expected="a channel map without faults",
            got="; ".join(faults[:20]),
            now="nothing was read",
            faults=faults,
        ) from error
