"""The channel map: how a source's own channels become the contract's columns.

It is part of the plan (`channel_map`). Names, units, signs, scales, delays and rates are the source's; a unit comes
from here or from the file itself and is never guessed. Units are text here; the adapters turn them into factors.

One sample becomes `sign * (scale * raw + offset)` in `unit`, taken at its stamp minus `delay_s`, and is then held for
at most `hold_s`: beyond that the column is NaN. See docs/reference/channel-map.md.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from spinfloor.core.channels import COLUMN_NAMES, REQUIRED_COLUMNS
from spinfloor.core.plan.frame_layouts import BusMessage, PcmLayout

Finite = Annotated[float, Field(allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
UnitText = Annotated[str, Field(max_length=24)]
_INSTANT = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d)(?:[T ](?P<clock>\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?))?"
    r"(?:Z|(?P<sign>[+-])(?P<hours>\d\d):?(?P<minutes>\d\d))?"
)


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class TimeSource(_Part):
    """Which channel is time. Without `start` the times count from 1970-01-01 (or from the recording's own start)."""

    source: Name
    unit: UnitText | None = Field(default=None, description="ns, us, ms, s, min or h; None: the file states it")
    start: str | None = Field(default=None, description="UTC instant added to every time, ISO 8601")
    wraps_s: Annotated[float, Field(gt=0.0, allow_inf_nan=False)] | None = Field(
        default=None, description="the clock starts again after this many seconds, e.g. 86400 for time of day"
    )

    @field_validator("start")
    @classmethod
    def _instant(cls, text: str | None) -> str | None:
        if text is not None:
            parse_instant_ns(text)
        return text


class MappedColumn(_Part):
    """Where one contract column comes from."""

    source: Name
    unit: UnitText | None = Field(
        default=None, description="unit of sign * (scale * raw + offset); None: as the file says"
    )
    sign: Literal[1, -1] = 1
    scale: Finite = 1.0
    offset: Finite = 0.0
    delay_s: Annotated[float, Field(ge=-10.0, le=10.0, allow_inf_nan=False)] = Field(
        default=0.0, description="how much later than the truth the source stamps this channel"
    )
    rate_hz: Annotated[float, Field(gt=0.0, le=100_000.0)] | None = None
    hold_s: Annotated[float, Field(ge=0.0, le=60.0)] | None = Field(
        default=None, description="age limit; None: 1.25 sample periods, from rate_hz or measured"
    )
    time: TimeSource | None = Field(
        default=None, description="this channel's own time, where the file has one time vector per rate"
    )
    overrule_file: bool = Field(default=False, description="use `unit` although the file states another")


class AnalogInput(_Part):
    """One sub-channel of an analog recorder channel: raw integers become `scale * raw + offset` in `unit`."""

    channel: Annotated[int, Field(ge=0, le=65535)]
    subchannel: Annotated[int, Field(ge=0, le=255)] = 0
    name: Name
    unit: UnitText | None = None
    scale: Finite = 1.0
    offset: Finite = 0.0
    signed: bool = True
    samples_per_second: Annotated[float, Field(gt=0.0, le=10_000_000.0)]


class ChannelMap(_Part):
    """Contract columns by their sources, plus the frame layouts that bus and PCM recordings need."""

    time: TimeSource | None = Field(default=None, description="None: the format carries time (Chapter 10, MAVLink)")
    frames_at: str = Field(default="yaw_rate_dps", description="contract column each of whose samples makes a frame")
    rate_hz: Annotated[float, Field(gt=0.0, le=2_000.0)] | None = Field(
        default=None, description="make frames on an even grid instead, at this rate"
    )
    columns: dict[str, MappedColumn]
    year: Annotated[int, Field(ge=1970, le=2261)] | None = Field(
        default=None, description="year at the start of a recording whose time packets carry none"
    )
    mavlink_system: Annotated[int, Field(ge=1, le=255)] | None = Field(
        default=None, description="None: the first system that sends a message we read"
    )
    mavlink_component: Annotated[int, Field(ge=1, le=255)] | None = None
    pcm: tuple[PcmLayout, ...] = ()
    analog: tuple[AnalogInput, ...] = ()
    bus: tuple[BusMessage, ...] = ()

    @field_validator("columns")
    @classmethod
    def _known(cls, columns: dict[str, MappedColumn]) -> dict[str, MappedColumn]:
        unknown = sorted(set(columns) - set(COLUMN_NAMES))
        if unknown:
            raise ValueError(f"no such contract column: {', '.join(unknown)}")
        missing = [name for name in REQUIRED_COLUMNS if name not in columns]
        if missing:
            raise ValueError(f"the required columns {', '.join(missing)} have no source")
        return columns

    @model_validator(mode="after")
    def _paced(self) -> ChannelMap:
        if self.frames_at not in self.columns:
            raise ValueError(f"frames_at names {self.frames_at}, which is not mapped")
        return self


def parse_instant_ns(text: str) -> int:
    """ISO 8601 instant to nanoseconds since 1970 UTC; without a zone it is taken as UTC. Raises ValueError."""
    match = _INSTANT.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not an ISO 8601 instant such as 2030-05-07T09:00:00Z")
    since = int(np.datetime64(f"{match['day']}T{match['clock'] or '00:00:00'}", "ns").astype(np.int64))
    if match["sign"]:
        minutes = int(match["hours"]) * 60 + int(match["minutes"])
        since -= (1 if match["sign"] == "+" else -1) * minutes * 60 * 1_000_000_000
    return since
