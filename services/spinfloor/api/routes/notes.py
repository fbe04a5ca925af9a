"""Notes after the flight: what a person adds to a sortie or a spin of it. The flown run stays as it is."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel, ConfigDict, Field, field_validator

from spinfloor.api.names import SortieId
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, Use
from spinfloor.archive.notes import NOTE
from spinfloor.core.events import Json as JsonValue
from spinfloor.ports.audit import AuditRecord

router = APIRouter(prefix="/v1", tags=["notes"])


class NoteBody(BaseModel):
    """text: what is added or put right. spin, time_ns: what it is about, left out where it is the whole sortie."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    text: str = Field(min_length=1, max_length=1000)
    by: str = Field(min_length=1, max_length=80)
    spin: int | None = Field(default=None, ge=1, le=100_000, strict=True)
    time_ns: int | None = Field(default=None, ge=0, lt=2**62, strict=True)

    @field_validator("text", "by")
    @classmethod
    def _one_line(cls, words: str) -> str:
        return " ".join(words.split())


@router.post("/sorties/{sortie}/notes", status_code=201)
async def post_note(sortie: SortieId, services: Use, caller: AsControl, body: Annotated[NoteBody, Body()]) -> Json:
    """Add a note, also long after the flight. Kept in the audit log with who and when, shown on Debrief and in the report;
    the detector never sees it. Notes are not changed: a later one puts an earlier one right."""
    await services.ports.sorties.get(sortie)
    now = services.ports.clock.wall_ns()
    by = services.authority.signature(body.by, caller)
    data: dict[str, JsonValue] = {"text": body.text, "spin": body.spin, "time_ns": body.time_ns}
    position = await services.ports.audit.add(AuditRecord(now, by, NOTE, sortie, data))
    return Json({"position": position, "at_ns": now, "by": by, **data}, status_code=201)
