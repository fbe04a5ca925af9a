"""One call from a file to frames."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from spinfloor.adapters.mavlink import default_map
from spinfloor.adapters.recordings.contract import frames_from_contract, listed
from spinfloor.adapters.recordings.dispatch import decode
from spinfloor.adapters.recordings.mapping import frames_from_map
from spinfloor.adapters.recordings.piped import as_file
from spinfloor.adapters.recordings.recording import Notes, Recording, RecordingError, RecordingMissingError, Source
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap
from spinfloor.ingest.rows import LATEST_NS


def read_recording(path: str | Path, channel_map: ChannelMap | Mapping[str, object] | None = None) -> Recording:
    """Read a recording.

    channel_map: the plan's `channel_map`, when the file uses its own names and units; without it the file must carry
    the contract's column names. Frames come in file order: time running backwards, repeats and NaN rows are kept for
    the detector to flag. `-` is standard input; a pipe is read to its end first. Raises RecordingMissingError or
    RecordingError, each one sentence.
    """
    mapped = None if channel_map is None else as_channel_map(channel_map)
    try:
        with as_file(Path(path)) as file:
            return _read_file(file, mapped)
    except OSError as error:
        raise RecordingMissingError(
            expected="a recording that can be read to its end",
            got=f"{path}, where the system says {error.strerror or error}",
            now="nothing was read",
            path=str(path),
        ) from error


def _read_file(path: Path, mapped: ChannelMap | None) -> Recording:
    source = decode(path, mapped)
    mapped = mapped or _stated_by_format(source)
    block = frames_from_contract(source, path.name) if mapped is None else frames_from_map(source, mapped, path.name)
    block = _in_our_years(block, source.notes, path.name)
    facts: dict[str, str | int | float] = {
        "name": path.name,
        "format": source.format,
        "bytes": path.stat().st_size,
        "rows": len(block),
        **source.facts,
    }
    return Recording(block, source.notes.as_tuple(), facts)


def _in_our_years(block: FrameBlock, notes: Notes, name: str) -> FrameBlock:
    """Frames of the years 1970 to 2200, as live batches are taken too: the detector's clock begins in 1970."""
    usable = (block.time_ns >= 0) & (block.time_ns < LATEST_NS)
    if usable.all():
        return block
    if not usable.any():
        raise RecordingError(
            expected="times of the years 1970 to 2200 (time_s from 0 on)",
            got=f"{name}, which begins at {int(block.time_ns[0]) * 1e-9:g} s after 1970",
            now="nothing was read; `start` under channel_map.time moves a clock",
            path=name,
        )
    notes.add(
        f"frame {int(np.argmin(usable)) + 1}",
        "frame(s) outside the years 1970 to 2200 (time_s below 0); left out; `start` under channel_map.time moves a clock",
        int((~usable).sum()),
    )
    return FrameBlock(block.time_ns[usable], np.ascontiguousarray(block.values[usable]))


def _stated_by_format(source: Source) -> ChannelMap | None:
    """Formats that name and measure their channels by their own definition need no map from the user."""
    if source.format != "mavlink log":
        return None
    seen = [name for table in source.tables for name in table.columns]
    mapped = default_map(seen)
    if mapped is None:
        raise RecordingError(
            expected="MAVLink messages with body rates and static pressure (ATTITUDE and SCALED_PRESSURE, say)",
            got="only " + listed(sorted({name.split(".")[0] for name in seen})),
            now="nothing was read; a channel map can name other sources",
        )
    return mapped


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
