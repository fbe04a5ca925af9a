"""The channel map used for MAVLink when the plan has none. No unit is guessed: the protocol states every one of them.

Directions from the protocol's definitions: body axes forward, right, down; rates positive as ours; accelerations as
measured by the sensors, so normal load is minus the z value.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from spinfloor.core.channels import REQUIRED_COLUMNS
from spinfloor.core.plan.channel_map import ChannelMap, MappedColumn

# Contract column: sources in order of preference, each with its sign.
_SOURCES: Final[dict[str, tuple[tuple[str, int], ...]]] = {
    "roll_rate_dps": (
        ("ATTITUDE.rollspeed", 1),
        ("ATTITUDE_QUATERNION.rollspeed", 1),
        ("HIGHRES_IMU.xgyro", 1),
        ("SCALED_IMU.xgyro", 1),
    ),
    "pitch_rate_dps": (
        ("ATTITUDE.pitchspeed", 1),
        ("ATTITUDE_QUATERNION.pitchspeed", 1),
        ("HIGHRES_IMU.ygyro", 1),
        ("SCALED_IMU.ygyro", 1),
    ),
    "yaw_rate_dps": (
        ("ATTITUDE.yawspeed", 1),
        ("ATTITUDE_QUATERNION.yawspeed", 1),
        ("HIGHRES_IMU.zgyro", 1),
        ("SCALED_IMU.zgyro", 1),
    ),
    "pressure_altitude_ft": (
        ("SCALED_PRESSURE.press_abs", 1),
        ("HIGHRES_IMU.abs_pressure", 1),
        ("HIGHRES_IMU.pressure_alt", 1),
    ),
    "roll_deg": (("ATTITUDE.roll", 1), ("ATTITUDE_QUATERNION.roll", 1)),
    "pitch_deg": (("ATTITUDE.pitch", 1), ("ATTITUDE_QUATERNION.pitch", 1)),
    "heading_deg": (("ATTITUDE.yaw", 1), ("ATTITUDE_QUATERNION.yaw", 1)),
    "calibrated_airspeed_kt": (("VFR_HUD.airspeed", 1),),
    "longitudinal_load_g": (("HIGHRES_IMU.xacc", 1), ("SCALED_IMU.xacc", 1)),
    "lateral_load_g": (("HIGHRES_IMU.yacc", 1), ("SCALED_IMU.yacc", 1)),
    "normal_load_g": (("HIGHRES_IMU.zacc", -1), ("SCALED_IMU.zacc", -1)),
    "throttle_pct": (("VFR_HUD.throttle", 1),),
}
_HOLD_S: Final = 1.0  # telemetry links send slow messages at 1-4 Hz; older values are not the aircraft's present state


def default_map(seen: Collection[str]) -> ChannelMap | None:
    """The map for the channels seen, None when a required column has no source among them.

    GPS altitude is no source of pressure altitude: whoever wants it so must say so in a channel map.
    """
    columns: dict[str, MappedColumn] = {}
    for column, choices in _SOURCES.items():
        source = next(((name, sign) for name, sign in choices if name in seen), None)
        if source is not None:
            columns[column] = MappedColumn(source=source[0], sign=1 if source[1] > 0 else -1, hold_s=_HOLD_S)
    if any(name not in columns for name in REQUIRED_COLUMNS):
        return None
    return ChannelMap(columns=columns)
