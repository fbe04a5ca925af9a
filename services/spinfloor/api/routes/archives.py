"""One file per sortie: out of this service, into another."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from spinfloor.adapters.sortie_file.layout import MEDIA_TYPE
from spinfloor.api.names import ID_PATTERN, SortieId
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Services, Use
from spinfloor.archive.export import export_sortie
from spinfloor.archive.importing import Imported, import_sortie
from spinfloor.ports.sorties import SortieKind

router = APIRouter(prefix="/v1", tags=["archives"])


@router.get("/sorties/{sortie}/archive", response_class=FileResponse)
async def get_archive(sortie: SortieId, services: Use, _caller: AsWatch) -> Response:
    """The sortie as one zip: plan, frames, events, settings, beliefs, versions, checksums. POST it to /v1/archives of
    another service to have it there, its events made again and compared."""
    record = await services.ports.sorties.get(sortie)
    folder = Path(await asyncio.to_thread(tempfile.mkdtemp, prefix="spinfloor-export-"))
    try:
        async with services.archiving:
            path = await export_sortie(services.ports, record, folder, settle=services.view.settle)
    except BaseException:
        await asyncio.to_thread(shutil.rmtree, folder, ignore_errors=True)
        raise
    cleaning = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
    return FileResponse(path, media_type=MEDIA_TYPE, filename=f"{sortie}.zip", background=cleaning)


@router.post("/archives", status_code=201)
async def post_archive(
    request: Request,
    services: Use,
    caller: AsControl,
    id: Annotated[str | None, Query(pattern=ID_PATTERN, description="default: the archive's own")] = None,
    differences: Annotated[
        Literal["refuse", "keep"], Query(description="what to do when the events differ")
    ] = "refuse",
) -> Json:
    """Import a sortie's archive (a zip as the body). It is checked as a whole, its events are made again and compared,
    and the answer says so (`reproduced`); a damaged one imports nothing. A flight teaches what its recoveries teach."""
    folder = Path(await asyncio.to_thread(tempfile.mkdtemp, prefix="spinfloor-import-"))
    try:
        await _taken(request, folder / "archive.zip")
        async with services.archiving:
            (folder / "parts").mkdir()
            done = await import_sortie(
                services.ports, services.bench, folder / "archive.zip", folder / "parts", sortie=id,
                keep_differences=differences == "keep", by=caller.name,
            )  # fmt: skip
    finally:
        await asyncio.to_thread(shutil.rmtree, folder, ignore_errors=True)
    taught = await _learn(services, done)
    return Json(
        {**done.as_record(), "recoveries_learnt": taught},
        status_code=201, headers={"Location": f"/v1/sorties/{done.sortie}"},
    )  # fmt: skip


async def _taken(request: Request, path: Path) -> None:
    """The body to disk, piece by piece."""
    size = 0
    with path.open("wb") as file:
        async for piece in request.stream():
            size += len(piece)
            await asyncio.to_thread(file.write, piece)
    if not size:
        raise ProblemError(
            422, "no-archive", expected="a sortie's archive as the body", got="nothing", now="nothing was imported"
        )


async def _learn(services: Services, done: Imported) -> int:
    record = await services.ports.sorties.get(done.sortie)
    return await services.learner.learn(record) if record.kind is SortieKind.FLIGHT else 0
