"""Samples of a link to frames: units converted, channels of different rates held within their age limits."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from spinfloor.adapters.links.counts import LinkCounts
from spinfloor.adapters.recordings.holding import UNKNOWN_RATE_HOLD_NS, stated_hold_ns
from spinfloor.adapters.recordings.map_units import Converter, converter
from spinfloor.core.alignment import StreamAligner
from spinfloor.core.channels import CHANNEL_COUNT, CHANNEL_INDEX
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap


class Converters:
    """Built from a channel map once the link has said what it sends; then `take` for every set of samples."""

    def __init__(self, channel_map: ChannelMap) -> None:
        self._map = channel_map
        limits = np.zeros(CHANNEL_COUNT, dtype=np.int64)
        for name, mapped in channel_map.columns.items():
            stated = stated_hold_ns(mapped)
            limits[CHANNEL_INDEX[name]] = UNKNOWN_RATE_HOLD_NS if stated is None else stated
        self._aligner = StreamAligner(CHANNEL_INDEX[channel_map.frames_at], limits)
        self._by_source: dict[str, list[tuple[int, int, Converter]]] = {}

    def prepare(self, stated: Mapping[str, str | None]) -> None:
        """stated: the sources there are, each with the unit the link itself gives. Raises RecordingError for units."""
        self._by_source = {}
        for name, mapped in self._map.columns.items():
            if mapped.source in stated:
                made = converter(name, mapped, stated[mapped.source], "the link")
                delay_ns = round(mapped.delay_s * 1e9)
                self._by_source.setdefault(mapped.source, []).append((CHANNEL_INDEX[name], delay_ns, made))

    def take(self, time_ns: int, samples: Mapping[str, float], counts: LinkCounts) -> FrameBlock | None:
        """Samples that share a stamp, by source name in the source's units; a frame when the pacing column is there."""
        columns: dict[int, tuple[int, float]] = {}
        for source, value in samples.items():
            for column, delay_ns, made in self._by_source.get(source, ()):
                columns[column] = (time_ns - delay_ns, float(made(np.array([value]))[0]))
        block = self._aligner.take(columns)
        if block is not None:
            counts.frames += 1
        return block
