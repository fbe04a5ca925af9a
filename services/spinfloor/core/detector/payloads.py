"""Motion's event payloads (codes 0-5, 9, 10) turned into event data: edge units, the unit in each name."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

from spinfloor.core.channels import CHANNELS
from spinfloor.core.detector import emission as em
from spinfloor.core.detector.states import FLAGS, TIME_ROW
from spinfloor.core.events import MODES, PHASES, Json, Kind
from spinfloor.core.units import METRES_PER_FOOT, RADIANS_PER_DEGREE

EVIDENCE: Final = ("rates and altitude", "attitude", "attitude and air data", "air data")
ORIENTATION: Final = {1: "upright", -1: "inverted"}
DIRECTION: Final = {1: "right", -1: "left"}
SENSE: Final = {1: "clockwise", -1: "anticlockwise"}
RECOVERY_SOURCE: Final = ("none", "controls", "mark", "inferred")

Row = Any
Data = dict[str, Json]


def number(value: float, digits: int = 4) -> float | None:
    """A rounded float, or None for NaN."""
    value = float(value)
    return None if math.isnan(value) else round(value, digits)


def feet(value: float) -> float | None:
    """Metres to feet, one decimal; None for NaN."""
    return number(value / METRES_PER_FOOT, 1)


def degrees(value: float) -> float | None:
    """Radians to degrees, two decimals; None for NaN."""
    return number(value / RADIANS_PER_DEGREE, 2)


def _phase(row: Row, time_ns: int) -> Data:
    return {
        "from": PHASES[int(row[0])].value,
        "to": PHASES[int(row[1])].value,
        "evidence": EVIDENCE[int(row[em.P_EVIDENCE])],
    }


def _spin_started(row: Row, time_ns: int) -> Data:
    return {
        "orientation": ORIENTATION[int(row[0])],
        "direction": DIRECTION[int(row[1])],
        "sense_from_above": SENSE[int(row[2])],
        "altitude_ft": feet(row[3]),
        "altitude_sd_ft": feet(row[6]),
        "spin": int(row[4]),
        "evidence": EVIDENCE[int(row[5])],
        "reversed": bool(row[7]),
        "restarted": bool(row[8]),
        "turned_inverted": bool(row[9]),
    }


def _spin_turn(row: Row, time_ns: int) -> Data:
    return {
        "turns": number(row[0], 3),
        "turns_about_vertical": number(row[1], 3),
        "altitude_ft": feet(row[2]),
        "loss_ft": feet(row[3]),
        "loss_sd_ft": feet(row[11]),
        "seconds": number(row[4], 3),
        "turns_sd": number(row[5], 3),
        "altitude_sd_ft": feet(row[6]),
        "evidence": EVIDENCE[int(row[7])],
        "turns_lower_bound": bool(row[8]),
        "flattening": bool(row[9]),
        "estimated": bool(row[10]),
    }


def _spin_mode(row: Row, time_ns: int) -> Data:
    return {
        "mode": MODES[int(row[0])].value,
        "oscillatory": bool(row[1]),
        "alpha_deg": degrees(row[2]),
        "seconds_per_turn": number(row[3], 3),
        "evidence": EVIDENCE[int(row[4])],
        "swing_share": number(row[5], 3),
    }


def _recovery_started(row: Row, time_ns: int) -> Data:
    return {
        "turns": number(row[0], 3),
        "altitude_ft": feet(row[1]),
        "source": RECOVERY_SOURCE[int(row[2])],
        "turns_sd": number(row[3], 3),
        "altitude_sd_ft": feet(row[4]),
        "evidence": EVIDENCE[int(row[5])],
        "rotation_dps": degrees(row[6]),
    }


def _spin_ended(row: Row, time_ns: int) -> Data:
    stopped = None if math.isnan(row[8]) else time_ns + int(row[8])
    unstalled = None if math.isnan(row[9]) else time_ns + int(row[9])
    return {
        "turns": number(row[0], 4),
        "turns_about_vertical": number(row[1], 4),
        "recovery_turns": number(row[2], 4),
        "altitude_ft": feet(row[3]),
        "loss_ft": feet(row[4]),
        "recovery_loss_ft": feet(row[13]),
        "turns_sd": number(row[5], 4),
        "altitude_sd_ft": feet(row[6]),
        "evidence": EVIDENCE[int(row[7])],
        "turns_lower_bound": bool(row[10]),
        "seconds": number(row[11], 3),
        "recovery_source": RECOVERY_SOURCE[int(row[12])],
        "rotation_stopped_ns": stopped,
        "unstalled_ns": unstalled,
        "spin": int(row[14]),
    }


def _quality(row: Row, time_ns: int) -> Data:
    index = int(row[0])
    channel = "time_ns" if index == TIME_ROW else CHANNELS[index].column
    return {"channel": channel, "flag": FLAGS[int(row[1])], "state": "on" if row[2] else "off"}


def _link(row: Row, time_ns: int) -> Data:
    return {"state": "lost" if row[0] else "restored", "seconds": number(row[1], 3)}


BUILDERS: Final[dict[int, tuple[Kind, Callable[[Row, int], Data]]]] = {
    em.CODE_PHASE: (Kind.PHASE, _phase),
    em.CODE_SPIN_STARTED: (Kind.SPIN_STARTED, _spin_started),
    em.CODE_SPIN_TURN: (Kind.SPIN_TURN, _spin_turn),
    em.CODE_SPIN_MODE: (Kind.SPIN_MODE, _spin_mode),
    em.CODE_RECOVERY_STARTED: (Kind.RECOVERY_STARTED, _recovery_started),
    em.CODE_SPIN_ENDED: (Kind.SPIN_ENDED, _spin_ended),
    em.CODE_QUALITY: (Kind.QUALITY, _quality),
    em.CODE_LINK: (Kind.LINK, _link),
}
