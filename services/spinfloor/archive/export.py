"""A sortie out of the stores into one archive file."""

from __future__ import annotations

import asyncio
import platform
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final

from spinfloor import __version__
from spinfloor._compile_cache import core_source_hash
from spinfloor.adapters.sortie_file import ArchiveWriter
from spinfloor.adapters.sortie_file import layout as parts
from spinfloor.archive.bench import journalled
from spinfloor.core.detector.detector import DETECTOR_VERSION
from spinfloor.core.plan.flatten import settings_record
from spinfloor.core.settings import SETTINGS_FIELDS
from spinfloor.detect.building import plan_of
from spinfloor.ports.bundle import Ports
from spinfloor.ports.events import RERUN_PREFIX
from spinfloor.ports.sorties import SortieRecord

PAGE: Final = 5000


async def export_sortie(
    ports: Ports, record: SortieRecord, folder: Path, *, settle: Callable[[str], Awaitable[bool]]
) -> Path:
    """Write the archive of a sortie into an empty folder; returns the file.

    settle: waits until everything journalled before its call has been through the detector, and says whether it has.
    A sortie that is being flown is archived as far as it has got: its events are read before its inputs, so that the
    inputs make all of them again.
    """
    before = await ports.inputs.newest_offset(record.id)
    settled = await settle(record.id)
    writer = await asyncio.to_thread(ArchiveWriter, folder)
    try:
        run = await ports.events.current_run(record.id)
        await _flown(ports, record.id, run, writer)
        reruns = [name for name in await ports.events.runs(record.id) if name.startswith(RERUN_PREFIX)]
        for name in reruns:
            await _rerun(ports, record.id, name, writer)
        newest = await ports.inputs.newest_offset(record.id)
        async for piece in journalled(ports, record.id, up_to=newest):
            await asyncio.to_thread(writer.add_inputs, piece)
        facts = {
            "sortie": record.id, "kind": record.kind.value, "aircraft": record.aircraft,
            "created_ns": record.created_ns, "belief_version": record.belief_version, "run": run, "reruns": reruns,
            "complete": settled and newest == before, "made_with": versions(),
        }  # fmt: skip
        return await asyncio.to_thread(writer.finish, facts, _parts(record), await _actions(ports, record.id))
    finally:
        await asyncio.to_thread(writer.close)


def versions() -> dict[str, str]:
    """What makes events here: the product, the detector, the source of its kernel, the interpreter, the machine."""
    return {
        "spinfloor": __version__,
        "detector": DETECTOR_VERSION,
        "kernel_source": core_source_hash(),
        "python": platform.python_version(),
        "machine": platform.machine(),
    }


def _parts(record: SortieRecord) -> dict[str, object]:
    flat = settings_record(plan_of(record))
    settings = [{"name": n, "meaning": meaning, "value": float(flat[n][0])} for n, meaning in SETTINGS_FIELDS]
    return {
        parts.PLAN: dict(record.plan),
        parts.SETTINGS: settings,
        parts.BELIEFS: None if record.beliefs is None else dict(record.beliefs),
        parts.NOTES: dict(record.notes),
    }


async def _flown(ports: Ports, sortie: str, run: str | None, writer: ArchiveWriter) -> None:
    after = -1
    while run is not None and (page := await ports.events.read(sortie, run=run, after=after, limit=PAGE)):
        after = page[-1].sequence
        await asyncio.to_thread(writer.add_events, page)


async def _rerun(ports: Ports, sortie: str, run: str, writer: ArchiveWriter) -> None:
    after = -1
    while page := await ports.events.read(sortie, run=run, after=after, limit=PAGE):
        after = page[-1].sequence
        await asyncio.to_thread(writer.add_rerun, page)


async def _actions(ports: Ports, sortie: str) -> list[dict[str, Any]]:
    actions: list[dict[str, Any]] = []
    after = -1
    while page := await ports.audit.read(sortie=sortie, after=after):
        after = page[-1].position
        actions += [{"at_ns": r.at_ns, "by": r.by, "action": r.action, "data": dict(r.data)} for r in page]
    return actions
