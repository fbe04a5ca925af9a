"""The sortie's report."""

from __future__ import annotations

import asyncio
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from spinfloor.adapters.exports.formats import first_accepted
from spinfloor.api.names import SortieId
from spinfloor.api.services import AsWatch, Use
from spinfloor.archive.report_build import build_report
from spinfloor.archive.report_html import report_html
from spinfloor.archive.report_input import report_input

FORMS: Final[dict[str, str]] = {
    "text/html": "html",
    "application/xhtml+xml": "html",
    "text/*": "html",
    "*/*": "html",
    "": "html",
    "application/pdf": "pdf",
}

router = APIRouter(prefix="/v1", tags=["report"])


@router.get("/sorties/{sortie}/report")
async def get_report(
    sortie: SortieId,
    request: Request,
    services: Use,
    _caller: AsWatch,
    format: Annotated[Literal["html", "pdf"] | None, Query()] = None,
) -> Response:
    """One page: spins, verdicts, calls, plan, evidence, with the cautions. HTML; PDF by Accept or ?format=pdf."""
    form: str = format or first_accepted(request.headers.get("accept", ""), FORMS, ("text/html", "application/pdf"))
    record = await services.ports.sorties.get(sortie)
    await services.view.settle(sortie)
    report = build_report(await report_input(services.ports, record))
    if form == "pdf":
        from spinfloor.adapters.exports.report_pdf import report_pdf

        return Response(await asyncio.to_thread(report_pdf, report), media_type="application/pdf")
    headers = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:"}
    body = await asyncio.to_thread(report_html, report)
    return Response(body, media_type="text/html; charset=utf-8", headers=headers)
