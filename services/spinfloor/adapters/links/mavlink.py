"""A MAVLink link: packets to frames, by the plan's channel map or the one that follows from the protocol."""

from __future__ import annotations

from collections import Counter

from spinfloor.adapters.links.columns import Converters
from spinfloor.adapters.links.counts import LinkCounts
from spinfloor.adapters.mavlink.decoder import MavlinkDecoder, MavSample, dialect
from spinfloor.adapters.mavlink.default_map import default_map
from spinfloor.adapters.mavlink.samples import units
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap


class MavlinkLink:
    """Bytes to frames. Without a map, frames begin once every required column has been heard of."""

    def __init__(self, channel_map: ChannelMap | None = None) -> None:
        self.counts = LinkCounts(early="messages before every column had come")
        self._decoder = MavlinkDecoder(
            channel_map.mavlink_system if channel_map else None, channel_map.mavlink_component if channel_map else None
        )
        self._units = units(dialect())
        self._seen: set[str] = set()
        self._newest: dict[str, MavSample] = {}
        self._early: Counter[str] = Counter()
        self._fixed = channel_map is not None
        self._converters: Converters | None = None
        if channel_map is not None:
            self._use(channel_map)

    def take(self, data: bytes, received_ns: int, *, whole: bool = False) -> list[FrameBlock]:
        """More bytes; a datagram may hold any number of packets, whole or not."""
        del whole
        blocks: list[FrameBlock] = []
        for sample in self._decoder.take(data, received_ns):
            kind = next(iter(sample.values)).split(".")[0]
            self._newest[kind] = sample
            if not self._fixed and not sample.values.keys() <= self._seen:
                self._seen |= sample.values.keys()
                found = default_map(self._seen)
                if found is not None:
                    self._use(found)
            if self._converters is None:
                self._early[kind] += 1
                self.counts.waiting += 1
                continue
            block = self._converters.take(sample.time_ns, sample.values, self.counts)
            if block is not None:
                blocks.append(block)
        self._copy_counts()
        return blocks

    def cut(self) -> None:
        """The sender changed or went: nothing to forget, the decoder finds the next packet by itself."""

    def _use(self, channel_map: ChannelMap) -> None:
        self._converters = Converters(channel_map)
        self._converters.prepare({m.source: self._units.get(m.source) for m in channel_map.columns.values()})
        pace = channel_map.columns[channel_map.frames_at].source.split(".")[0]
        self.counts.waiting = self._early[pace]  # each would have been a frame; of the others the newest is used
        for kind, sample in self._newest.items():  # what came before the map was known still has its age
            if kind != pace:
                self._converters.take(sample.time_ns, sample.values, self.counts)

    def _copy_counts(self) -> None:
        counts = self._decoder.counts
        self.counts.messages, self.counts.lost, self.counts.foreign = counts.messages, counts.lost, counts.foreign
        if counts.damaged_bytes:
            self.counts.damaged["bytes that are no packet"] = counts.damaged_bytes
        if counts.restarts:
            self.counts.damaged["vehicle clock started again"] = counts.restarts
