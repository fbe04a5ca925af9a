"""The snapshot: the detector's present state for screens, plain JSON in edge units; null where not known."""

from __future__ import annotations

import math
from typing import Any

from spinfloor.core.channels import CHANNELS
from spinfloor.core.detector.memory import Memory
from spinfloor.core.detector.payloads import DIRECTION, EVIDENCE, ORIENTATION, SENSE, degrees, feet, number
from spinfloor.core.detector.states import FLAGS, TIME_ROW
from spinfloor.core.events import MODES, PHASES, Json
from spinfloor.core.plan.flatten import datum_shift_m
from spinfloor.core.plan.model import Plan
from spinfloor.core.units import METRES_PER_FOOT

Snapshot = dict[str, Json]
_FPM_PER_MPS = 60.0 / METRES_PER_FOOT


def take_snapshot(memory: Memory, plan: Plan, sortie: str, run: str, last_call: dict[str, Json] | None) -> Snapshot:
    """All keys of the agreed snapshot."""
    m, d = memory.motion[0], memory.decision[0]
    started = bool(memory.state["started"][0])
    return {
        "sortie": sortie,
        "run": run,
        "time_ns": int(m["time_ns"]) if started else None,
        "phase": PHASES[int(m["phase"])].value,
        "in_spin": bool(m["in_spin"]),
        "spin_ordinal": int(m["spin_ordinal"]),
        **_kind(m),
        **_turns(m, d),
        "card": _card_id(plan, int(d["card_index"])),
        **_height(m),
        "altitude_left_ft": {"median": feet(d["left_median_m"]), "bound": feet(d["left_bound_m"])},
        "seconds_left": {"median": number(d["left_seconds_median"], 1), "bound": number(d["left_seconds_bound"], 1)},
        "turns_left": {"median": number(d["left_turns_median"], 2), "bound": number(d["left_turns_bound"], 2)},
        "floors": _floors(memory, plan),
        "recovery_started": bool(m["recovery_started"]),
        "recovery_turns": _recovery_turns(m),
        "power_on": None if m["power_on"] < 0 else bool(m["power_on"]),
        "estimated": bool(m["estimated"]),
        "degraded": bool(m["degraded"]),
        "evidence": EVIDENCE[int(m["evidence"])] if started else None,
        "last_call": last_call,
        "quality": _quality(memory),
        "link": "none yet" if not started else ("lost" if memory.state["lost"][0] else "ok"),
    }


def _kind(m: Any) -> Snapshot:
    return {
        "orientation": ORIENTATION.get(int(m["orientation"])),
        "direction": DIRECTION.get(int(m["direction"])),
        "sense_from_above": SENSE.get(int(m["sense_from_above"])),
        "mode": MODES[int(m["mode"])].value if m["mode"] >= 0 else None,
        "oscillatory": bool(m["oscillatory"]),
    }


def _turns(m: Any, d: Any) -> Snapshot:
    flown = m["spin_ordinal"] > 0
    return {
        "turns": number(m["turns"], 3) if flown else None,
        "turns_about_vertical": number(m["turns_about_vertical"], 3) if flown else None,
        "turns_sd": number(m["turns_sd"], 3) if flown else None,
        "turns_lower_bound": bool(m["turns_lower_bound"]),
        "planned_turns": number(d["planned_turns"], 2),
        "seconds_per_turn": number(m["turn_period_s"], 2),
    }


def _height(m: Any) -> Snapshot:
    return {
        "alpha_deg": degrees(m["alpha_rad"]),
        "altitude_ft": feet(m["altitude_m"]),
        "altitude_sd_ft": feet(m["altitude_sd_m"]),
        "sink_fpm": None if math.isnan(m["altitude_m"]) else number(m["sink_mps"] * _FPM_PER_MPS, 0),
        "loss_per_turn_ft": feet(m["loss_per_turn_m"]),
        "loss_per_turn_sd_ft": feet(m["loss_per_turn_sd_m"]),
    }


def _floors(memory: Memory, plan: Plan) -> Snapshot:
    s, shift = memory.settings[0], datum_shift_m(plan.floors)
    return {
        "recovery_ft": feet(s["recovery_floor_m"] - shift),
        "chute_ft": feet(s["chute_floor_m"] - shift),
        "abandon_ft": feet(s["abandon_floor_m"] - shift),
        "ground_ft": feet(s["ground_m"] - shift),
    }


def _recovery_turns(m: Any) -> float | None:
    if not m["recovery_started"] or math.isnan(m["recovery_start_turns"]):
        return None
    return number(max(m["turns"] - m["recovery_start_turns"], 0.0), 3)


def _card_id(plan: Plan, index: int) -> str | None:
    return plan.cards[index].id if 0 <= index < len(plan.cards) else None


def _quality(memory: Memory) -> list[Json]:
    out: list[Json] = []
    for row, flag in zip(*memory.flags[:, :, 1].nonzero(), strict=True):
        channel = "time_ns" if row == TIME_ROW else CHANNELS[row].column
        out.append({"channel": channel, "flag": FLAGS[flag]})
    return out
