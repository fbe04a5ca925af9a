"""Batches in the contract's names as they are; those in a source's own names by the channel map of the sortie's plan."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Final

from spinfloor.adapters.links.batches import BatchMapper
from spinfloor.detect.building import plan_of
from spinfloor.ingest.batches import Batch, Wire, batch_of, in_contract_names
from spinfloor.ports.sorties import SortieStore

SOURCES_REMEMBERED: Final = 1024


@dataclass(slots=True)
class _Mapper:
    """A source's mapper; its batches take turns, since each is mapped with what the one before has left."""

    map: BatchMapper
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)


class OwnNames:
    """One mapper per sortie and source; what it remembers of slower channels is lost with the process, not the frames."""

    def __init__(self, sorties: SortieStore) -> None:
        self._sorties = sorties
        self._mappers: OrderedDict[tuple[str, str], _Mapper] = OrderedDict()

    async def batch(self, sortie: str, wire: Wire, *, aside: bool = False) -> Batch:
        """The batch to journal; aside: worked out in a thread, for a big one.

        Raises UnknownSortieError, ColumnError, BatchError, RecordingError.
        """
        if in_contract_names(wire):
            return await asyncio.to_thread(batch_of, wire) if aside else batch_of(wire)
        key = (sortie, wire.source)
        mapper = self._mappers.get(key)
        if mapper is None:
            channel_map = plan_of(await self._sorties.get(sortie)).channel_map
            if channel_map is None:
                return batch_of(wire)  # which says what is wrong with the names
            mapper = self._mappers.setdefault(key, _Mapper(BatchMapper(channel_map)))  # another may have come meanwhile
            if len(self._mappers) > SOURCES_REMEMBERED:
                self._mappers.popitem(last=False)
        self._mappers.move_to_end(key)
        async with mapper.turn:
            return await asyncio.to_thread(mapper.map.take, wire) if aside else mapper.map.take(wire)
