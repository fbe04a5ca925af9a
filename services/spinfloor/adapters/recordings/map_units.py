"""One mapped channel to the contract's quantity in SI; refuses where a unit is missing or measures something else."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spinfloor.adapters.recordings.recording import RecordingError
from spinfloor.adapters.recordings.unit_text import factor_between, parse_unit
from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS, Channel
from spinfloor.core.frames import Float64Array
from spinfloor.core.physics.atmosphere import altitude_of_pressure_m
from spinfloor.core.plan.channel_map import MappedColumn

Converter = Callable[[Float64Array], Float64Array]


def converter(name: str, mapped: MappedColumn, stated: str | None, path_name: str) -> Converter:
    """`sign * (scale * raw + offset)` in SI for contract column `name`, as a function; infinite values become NaN.

    stated: the unit the source itself gives, None for none. The function takes shape (n,), as the source has it. Static
    pressure is accepted for pressure altitude (standard atmosphere). Raises RecordingError for units.
    """
    channel = CHANNELS[CHANNEL_INDEX[name]]
    unit = _unit(name, mapped, stated, path_name)
    factor = factor_between(unit, channel.unit) if channel.unit else 1.0
    if factor is not None:
        gain = factor * channel.si_per_unit
        return lambda raw: _linear(mapped, raw) * gain
    pascals = factor_between(unit, "Pa")
    if name == "pressure_altitude_ft" and pascals is not None:
        return lambda raw: _altitude_m(_linear(mapped, raw) * pascals)
    raise RecordingError(
        expected=f"a unit for {name} that converts to {channel.unit}",
        got=f"{unit!r} for {mapped.source!r}" + ("" if parse_unit(unit) is not None else ", which is no unit we know"),
        now="nothing was read",
        column=name,
        path=path_name,
    )


def _linear(mapped: MappedColumn, raw: Float64Array) -> Float64Array:
    out: Float64Array = mapped.sign * (mapped.scale * np.where(np.isfinite(raw), raw, np.nan) + mapped.offset)
    return out


def _unit(name: str, mapped: MappedColumn, stated: str | None, path_name: str) -> str:
    channel: Channel = CHANNELS[CHANNEL_INDEX[name]]
    unit = mapped.unit if mapped.unit is not None else stated
    if unit is None and channel.unit:
        raise RecordingError(
            expected=f"the unit of {mapped.source!r} (for {name}), stated in the file or in the channel map",
            got=f"{path_name}, which states none, and a map without one",
            now="nothing was read; a unit is never guessed",
            column=name,
            path=path_name,
        )
    plain = mapped.scale == 1.0 and mapped.offset == 0.0
    if channel.unit and plain and mapped.unit and stated and not mapped.overrule_file and _differs(mapped.unit, stated):
        raise RecordingError(
            expected=f"the channel map and the file to agree on the unit of {mapped.source!r}",
            got=f"{mapped.unit!r} in the map and {stated!r} in {path_name}",
            now="nothing was read; correct one, or set overrule_file if the file is known to be wrong",
            column=name,
            path=path_name,
        )
    return unit or ""


def _differs(one: str, other: str) -> bool:
    factor = factor_between(one, other)
    return parse_unit(other) is not None and (factor is None or abs(factor - 1.0) > 1e-9)


def _altitude_m(pressure_pa: Float64Array) -> Float64Array:
    out = np.full(len(pressure_pa), np.nan)
    for i in np.flatnonzero((pressure_pa > 100.0) & (pressure_pa < 120_000.0)):
        out[i] = altitude_of_pressure_m(float(pressure_pa[i]))
    return out
