"""Health, readiness, metrics, the plan's schema."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from spinfloor import __version__
from spinfloor.api.problems import problem_record, problem_response
from spinfloor.api.responses import Json
from spinfloor.api.services import AsWatch, Use
from spinfloor.core.caution import CAUTION
from spinfloor.core.plan.load import plan_schema

router = APIRouter(tags=["operation"])


@router.get("/healthz")
@router.get("/v1/healthz", include_in_schema=False)
@router.head("/healthz", include_in_schema=False)
async def healthz() -> Json:
    """The process answers."""
    return Json({"status": "ok"})


@router.get("/readyz")
@router.get("/v1/readyz", include_in_schema=False)
@router.head("/readyz", include_in_schema=False)
async def readyz(services: Use) -> Response:
    """Ready to take frames: the store writes, the kernel is compiled."""
    words = await services.ports.ready()
    if words is None and not services.kernel_ready.is_set():
        words = "The detector's kernel is still being compiled."
    if words is not None:
        return problem_response(problem_record(503, "not-ready", words))
    return Json({"status": "ready"})


@router.get("/metrics")
@router.get("/v1/metrics", include_in_schema=False)
async def metrics(services: Use, _caller: AsWatch) -> Response:
    """Prometheus text."""
    return Response(services.metrics.text(), media_type="text/plain; version=0.0.4; charset=utf-8")


@router.get("/v1")
async def about() -> Json:
    """What this is, and whose decision everything remains."""
    return Json({"name": "spinfloor", "version": __version__, "contract": 1, "caution": CAUTION})


@router.get("/v1/plan-schema")
async def get_plan_schema(_caller: AsWatch) -> Json:
    """JSON Schema of a plan."""
    return Json(plan_schema())
