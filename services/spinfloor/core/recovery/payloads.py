"""From the compiled step's numbers to event data in edge units: recovered, call, floor.crossed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spinfloor.core.detector.emission import CODE_CALL, CODE_FLOOR_CROSSED, CODE_RECOVERED, P_EVIDENCE
from spinfloor.core.detector.payloads import EVIDENCE
from spinfloor.core.events import CALLS, MODES, Json, Kind
from spinfloor.core.plan.model import CallWords, Plan
from spinfloor.core.recovery import calls, decision, outcome, reasons
from spinfloor.core.recovery.numbers_in_words import spoken
from spinfloor.core.units import METRES_PER_FOOT

Payload = npt.NDArray[np.float64]
RECOVERY_SOURCES = ("none", "controls", "mark", "inferred")
FLOOR_NAMES = ("recovery", "chute", "abandon")
FEET_PER_MINUTE_PER_MPS = 60.0 / METRES_PER_FOOT


@dataclass(frozen=True, slots=True)
class PayloadWords:
    """What the payloads need of the plan: its call words and its card ids."""

    call_words: CallWords
    card_ids: tuple[str, ...]

    @staticmethod
    def of(plan: Plan) -> PayloadWords:
        """From a plan."""
        return PayloadWords(plan.call_words, tuple(card.id for card in plan.cards))


def decision_event(code: int, payload: Payload, words: PayloadWords) -> tuple[Kind, dict[str, Json]]:
    """Kind and data of an event the decision step emitted (codes 6, 7, 8). Raises ValueError for another code."""
    if code == CODE_RECOVERED:
        return Kind.RECOVERED, _recovered(payload, words)
    if code == CODE_CALL:
        return Kind.CALL, _call(payload, words)
    if code == CODE_FLOOR_CROSSED:
        return Kind.FLOOR_CROSSED, _floor_crossed(payload)
    raise ValueError(f"code {code} is not one of the decision step's")


def number(value: float, digits: int = 1) -> float | None:
    """Rounded for the journal, None where not known."""
    return round(float(value), digits) if math.isfinite(value) else None


def feet(value_m: float) -> float | None:
    """Metres to feet, a tenth of a foot, None where not known."""
    return number(value_m / METRES_PER_FOOT)


def _card(index: float, words: PayloadWords) -> str | None:
    i = int(index) if math.isfinite(index) else -1
    return words.card_ids[i] if 0 <= i < len(words.card_ids) else None


def kind_words(code: float) -> dict[str, Json]:
    """Orientation, direction and mode of a kind code; the mode is None when it was not known."""
    if not math.isfinite(code):
        return {"orientation": None, "direction": None, "mode": None}
    rest, mode = divmod(int(code), 5)
    orientation, direction = divmod(rest, 2)
    return {
        "orientation": "inverted" if orientation else "upright",
        "direction": "left" if direction else "right",
        "mode": MODES[mode].value if mode < len(MODES) else None,
    }


def _recovered(p: Payload, words: PayloadWords) -> dict[str, Json]:
    surprise = p[outcome.P_SURPRISE]
    predicted = math.isfinite(surprise)
    bits = int(surprise) if predicted else 0
    loss_per_turn = p[outcome.P_LOSS_PER_TURN]
    surprises: list[Json] = []
    if bits & outcome.SURPRISE_TURNS:
        surprises.append("recovery turns")
    if bits & outcome.SURPRISE_ALTITUDE:
        surprises.append("altitude at level flight")
    return {
        "altitude_ft": feet(p[outcome.P_LEVEL]),
        "loss_ft": feet(p[outcome.P_LOSS]),
        "loss_from": "recovery controls" if predicted else "end of rotation",
        "margin_ft": feet(p[outcome.P_MARGIN]),
        "predicted_margin_ft": feet(p[outcome.P_PREDICTED_MARGIN]),
        "predicted_bound_margin_ft": feet(p[outcome.P_PREDICTED_BOUND_MARGIN]),
        "predicted_99_margin_ft": [feet(p[outcome.P_LOW_MARGIN]), feet(p[outcome.P_HIGH_MARGIN])],
        "surprise": bool(bits),
        "surprises": surprises,
        "recovery_turns": number(p[outcome.P_TURNS], 3),
        "predicted_recovery_turns": number(p[outcome.P_TURNS_PREDICTED], 3),
        "predicted_99_recovery_turns": number(p[outcome.P_TURNS_HIGH], 3),
        "loss_per_turn_ft": feet(loss_per_turn),
        "pull_out_loss_ft": feet(p[outcome.P_PULL_OUT]),
        "density_ratio": number(p[outcome.P_DENSITY], 4),
        "recovery_source": RECOVERY_SOURCES[int(p[outcome.P_SOURCE]) % outcome.HOLED] if predicted else None,
        "data_lost": bool(p[outcome.P_SOURCE] >= outcome.HOLED),
        "earlier_spins": number(p[outcome.P_SPINS], 0),
        "evidence": EVIDENCE[int(p[P_EVIDENCE])],
        "card": _card(p[outcome.P_CARD], words),
        **kind_words(p[outcome.P_KIND]),
    }


def _floor_crossed(p: Payload) -> dict[str, Json]:
    return {
        "floor": FLOOR_NAMES[int(p[decision.P_WHICH])],
        "floor_ft": feet(p[decision.P_FLOOR]),
        "altitude_ft": feet(p[decision.P_ALTITUDE]),
        "in_spin": bool(p[decision.P_IN_SPIN]),
        "estimated": bool(p[decision.P_ESTIMATED]),
        "evidence": EVIDENCE[int(p[P_EVIDENCE])],
    }


def _call(p: Payload, words: PayloadWords) -> dict[str, Json]:
    reason = int(p[calls.P_REASON])
    return {
        "call": CALLS[int(p[calls.P_CALL])].value,
        "words": call_words(int(p[calls.P_CALL]), reason, p[calls.P_TURN], words.call_words),
        "reason": reason_sentence(p),
        "reason_code": reasons.REASON_WORDS[reason],
        "altitude_ft": feet(p[calls.P_ALTITUDE]),
        "altitude_left_ft": feet(p[calls.P_LEFT_MEDIAN]),
        "altitude_left_bound_ft": feet(p[calls.P_LEFT_BOUND]),
        "estimated": bool(p[calls.P_ESTIMATED]),
        "evidence": EVIDENCE[int(p[P_EVIDENCE])],
        "degraded": bool(p[calls.P_DEGRADED]),
        "turns": number(p[calls.P_TURNS], 3),
        "planned_turns": number(p[calls.P_PLANNED], 2),
        "recovery_turns": number(p[calls.P_RECOVERY_TURNS], 3),
        "sink_fpm": number(p[calls.P_SINK] * FEET_PER_MINUTE_PER_MPS, 0),
        "lead_s": number(p[calls.P_LEAD], 2),
        "floor_ft": feet(p[calls.P_FLOOR]),
        "repeat": int(p[calls.P_REPEAT]),
        "card": _card(p[calls.P_CARD], words),
    }


def call_words(call: int, reason: int, turn: float, configured: CallWords) -> str:
    """What is spoken."""
    if call == reasons.TURN:
        return spoken(int(turn))
    if call == reasons.RECOVER:
        return configured.recover
    if call == reasons.CHUTE:
        return configured.chute
    if call == reasons.ABANDON:
        return configured.abandon
    by_reason = {
        reasons.TURNED_INVERTED: configured.turned_inverted,
        reasons.REVERSAL: configured.reversal,
        reasons.STARTED_AGAIN: configured.spin_started_again,
        reasons.DATA_LOST: configured.data_lost,
        reasons.DATA_DEGRADED: configured.data_degraded,
        reasons.POWER_ON: configured.power_above_idle,
        reasons.FLATTENING: configured.flattening,
        reasons.RECOVERED: configured.recovered,
        reasons.DATA_BACK: configured.data_back,
    }
    return by_reason[reason]


def _reached(p: Payload, reason: int) -> bool:
    """What was to come within the lead is there."""
    if reason in (reasons.CHUTE_FLOOR, reasons.ABANDON_FLOOR):
        return p[calls.P_ALTITUDE] <= p[calls.P_FLOOR]
    if reason == reasons.RECOVER_ALTITUDE:
        return p[calls.P_LEFT_BOUND] <= 0.0
    return reason == reasons.RECOVER_TURNS and p[calls.P_TURNS] >= p[calls.P_PLANNED]


def reason_sentence(p: Payload) -> str:
    """Why, with the numbers behind it."""
    reason = int(p[calls.P_REASON])
    words = reasons.REACHED_WORDS[reason] if _reached(p, reason) else reasons.REASON_WORDS[reason]
    turns = f"{p[calls.P_TURNS]:.1f}"
    lead = f"lead {p[calls.P_LEAD]:.1f} s"
    altitude = f"{p[calls.P_ALTITUDE] / METRES_PER_FOOT:,.0f} ft"
    sink = f"{p[calls.P_SINK] * FEET_PER_MINUTE_PER_MPS:,.0f} ft/min down"
    floor = f"{p[calls.P_FLOOR] / METRES_PER_FOOT:,.0f} ft"
    detail = {
        reasons.RECOVER_TURNS: f"{turns} of {p[calls.P_PLANNED]:g} turns, {lead}",
        reasons.RECOVER_ALTITUDE: f"{p[calls.P_LEFT_BOUND] / METRES_PER_FOOT:,.0f} ft left at the cautious bound, "
        f"median {p[calls.P_LEFT_MEDIAN] / METRES_PER_FOOT:,.0f} ft, {sink}, {lead}",
        reasons.CHUTE_FLOOR: f"{altitude}, chute floor {floor}, {sink}, {lead}",
        reasons.CHUTE_NOT_SLOWING: f"{p[calls.P_RECOVERY_TURNS]:.1f} turns since the controls",
        reasons.ABANDON_FLOOR: f"{altitude}, abandon floor {floor}, {sink}, {lead}",
        reasons.ABANDON_GROUND: f"{altitude}, ground {floor}, {sink}",
        reasons.WHOLE_TURN: f"{turns} turns",
    }.get(reason)
    return words if detail is None else f"{words}: {detail}"
