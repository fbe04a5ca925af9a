"""What a rerun is asked for with. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

SortieName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")]


class NewRerun(BaseModel):
    """Which sorties (these, all flights of an aircraft, or all flights) and what is different.

    plan: changes to each sortie's plan as a JSON Merge Patch (RFC 7396; null takes a key back to its default).
    beliefs: those the sortie flew with, the plan's priors alone, or all that has been learnt by now.
    """

    model_config = ConfigDict(extra="forbid")

    sorties: Annotated[list[SortieName], Field(min_length=1, max_length=10_000)] | None = None
    aircraft: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    all: bool = False
    plan: dict[str, Any] = Field(default_factory=dict)
    beliefs: Literal["as flown", "priors", "now"] = "as flown"
    by: Annotated[str, Field(min_length=1, max_length=80)] = "control room"

    @model_validator(mode="after")
    def _one_choice(self) -> NewRerun:
        if sum((self.sorties is not None, self.aircraft is not None, self.all)) != 1:
            raise ValueError("exactly one of sorties, aircraft and all")
        return self


def merged(target: Mapping[str, Any], patch: Mapping[str, Any]) -> dict[str, Any]:
    """RFC 7396, section 2: objects are merged key by key, null removes, everything else replaces."""
    out = dict(target)
    for name, value in patch.items():
        if value is None:
            out.pop(name, None)
        elif isinstance(value, Mapping):
            there = out.get(name)
            out[name] = merged(there if isinstance(there, Mapping) else {}, value)
        else:
            out[name] = value
    return out
