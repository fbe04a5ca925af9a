"""The MAVLink messages we read, as channels `MESSAGE.field` with the unit the protocol's own definition states."""

from __future__ import annotations

import math
from typing import Any, Final

MESSAGES: Final = (
    "ATTITUDE",
    "ATTITUDE_QUATERNION",
    "SCALED_IMU",
    "HIGHRES_IMU",
    "GLOBAL_POSITION_INT",
    "SCALED_PRESSURE",
    "VFR_HUD",
)
_TIMES: Final = ("time_boot_ms", "time_usec")
# Values that the definition gives the meaning "not known".
_UNKNOWN: Final = {("GLOBAL_POSITION_INT", "hdg"): 65535}
# The protocol states no unit for this one in its field list; its description says metres ("pressure altitude").
_ALSO: Final = {"HIGHRES_IMU.pressure_alt": "m"}


def channels(message: Any) -> dict[str, float]:
    """Channel values of one decoded message, in the message's own units; unknown ones are left out."""
    kind = message.get_type()
    out: dict[str, float] = {}
    for name in message.fieldnames:
        value = getattr(message, name)
        if name in _TIMES or not isinstance(value, int | float) or _UNKNOWN.get((kind, name)) == value:
            continue
        out[f"{kind}.{name}"] = float(value)
    if kind == "ATTITUDE_QUATERNION":
        out |= _euler(kind, message.q1, message.q2, message.q3, message.q4)
    return out


def units(dialect: Any) -> dict[str, str]:
    """Unit of every channel that has one, from the dialect's field definitions."""
    out = dict(_ALSO)
    for kind in MESSAGES:
        cls = getattr(dialect, f"MAVLink_{kind.lower()}_message")
        out |= {f"{kind}.{name}": unit for name, unit in cls.fieldunits_by_name.items() if name not in _TIMES}
    return out | {f"ATTITUDE_QUATERNION.{name}": "rad" for name in ("roll", "pitch", "yaw")}


def _euler(kind: str, w: float, x: float, y: float, z: float) -> dict[str, float]:
    """Bank, pitch and heading [rad] of the quaternion Earth to body (w, x, y, z), z-y-x order; textbook relations."""
    size = math.sqrt(w * w + x * x + y * y + z * z)
    if not 0.9 < size < 1.1:
        return {}
    w, x, y, z = w / size, x / size, y / size, z / size
    return {
        f"{kind}.roll": math.atan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y)),
        f"{kind}.pitch": math.asin(max(-1.0, min(1.0, 2.0 * (w * y - z * x)))),
        f"{kind}.yaw": math.atan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z)),
    }
