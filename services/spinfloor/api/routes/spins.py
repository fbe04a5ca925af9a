"""One row per spin."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter, Request
from starlette.responses import Response

from spinfloor.adapters.exports import Format, encode_spins
from spinfloor.api.names import SortieId
from spinfloor.api.negotiation import wanted_format
from spinfloor.api.responses import Json
from spinfloor.api.services import AsWatch, Use
from spinfloor.archive.flown import run_events
from spinfloor.archive.spin_table import spin_table

router = APIRouter(prefix="/v1", tags=["spins"])


@router.get("/sorties/{sortie}/spins")
async def get_spins(
    sortie: SortieId, request: Request, services: Use, _caller: AsWatch, format: Format | None = None
) -> Response:
    """The spins of the sortie, from its events, each with the verdict by the plan's rule."""
    record = await services.ports.sorties.get(sortie)
    form = wanted_format(request, format)
    await services.view.settle(sortie)
    events = await run_events(services.ports, sortie, spins_only=True)
    rows = [{"sortie": record.id, **row} for row in spin_table(events, record.plan)]
    if form is Format.JSON:
        return Json({"spins": rows})
    return Response(await asyncio.to_thread(encode_spins, rows, form), media_type=form.media_type)
