"""What a rehearsal is asked for."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from spinfloor.core.channels import COLUMN_NAMES

Seconds = Annotated[float, Field(ge=0.0, le=86_400.0, allow_inf_nan=False)]
ChannelName = Annotated[str, Field(pattern="^(" + "|".join(COLUMN_NAMES) + ")$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class Fault(_Part):
    """Something going wrong from from_s to to_s of the recording (to_s None: to its end).

    loss: no frames come. delay: they come seconds late. clip: the channel stops at +- value. bias: value is added.
    stuck: the channel keeps its first value of the stretch. value is in the channel's contract unit.
    """

    kind: Literal["loss", "delay", "clip", "bias", "stuck"]
    from_s: Seconds = 0.0
    to_s: Seconds | None = None
    channel: ChannelName | None = None
    value: Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)] | None = None
    seconds: Annotated[float, Field(gt=0.0, le=60.0, allow_inf_nan=False)] | None = None

    def lacking(self) -> str | None:
        """What the fault still needs, None when it is complete."""
        if self.kind in ("clip", "bias", "stuck") and self.channel is None:
            return "a channel"
        if self.kind in ("clip", "bias") and self.value is None:
            return "a value"
        if self.kind == "delay" and self.seconds is None:
            return "seconds"
        return None


class NewReplay(_Part):
    """recording: an id of GET /v1/recordings. plan: instead of the recording's own. sortie: instead of a made-up id.

    crew_response_turns: whole turns by which the crew begins each recovery later (negative: earlier) than recorded.
    """

    recording: Annotated[str, Field(min_length=1, max_length=120)]
    sortie: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,56}$")] | None = None
    plan: dict[str, Any] | None = None
    speed: Annotated[float, Field(ge=0.1, le=10.0)] = 1.0
    paused: bool = False
    position_s: Seconds = 0.0
    loop: bool = False
    crew_response_turns: Annotated[int, Field(ge=-5, le=5)] = 0
    faults: Annotated[list[Fault], Field(max_length=50)] = []


class ReplayPatch(_Part):
    """What to change; what is left out stays. position_s seeks; faults replaces the whole list.

    `pause` is taken for paused, `seek` for position_s.
    """

    speed: Annotated[float, Field(ge=0.1, le=10.0)] | None = None
    paused: Annotated[bool | None, Field(validation_alias=AliasChoices("paused", "pause"))] = None
    position_s: Annotated[Seconds | None, Field(validation_alias=AliasChoices("position_s", "seek"))] = None
    faults: Annotated[list[Fault], Field(max_length=50)] | None = None
