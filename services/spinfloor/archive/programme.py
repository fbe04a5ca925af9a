"""A programme: every flown spin of an aircraft, what it taught and how sure, the surprises, the cards open. Pure.

Rehearsals are no part of it. Edge units; None where not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from spinfloor.core.plan.gate import CardGate, Result, SignOff, gate, next_card, objections
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs, Prediction

SIGN_OFF: Final = "spin.signed_off"
INTERVAL: Final = 0.95
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class FlownSortie:
    """One flight of the aircraft with its spin table."""

    id: str
    title: str
    created_ns: int
    rows: Sequence[Row]


def results_of(sorties: Iterable[FlownSortie]) -> list[Result]:
    """Every spin as the gate sees it."""
    return [
        Result(
            sortie=sortie.id,
            spin=int(row["spin"]),
            card=row["card"],
            surprises=tuple(row["surprises"]),
            margin_ft=row["margin_ft"],
            exceeded=(row["verdict"] or {}).get("outcome") == "exceeded",
            outcome=(row["verdict"] or {}).get("outcome"),
        )
        for sortie in sorties
        for row in sortie.rows
    ]


def programme(
    aircraft: str,
    sorties: Sequence[FlownSortie],
    beliefs: Beliefs,
    sign_offs: Sequence[SignOff],
    plan: Plan | None,
    belief_version: int,
) -> dict[str, Any]:
    """The whole summary as plain data. sorties: oldest first. plan: whose cards the gate is shown for."""
    results = results_of(sorties)
    gates = [] if plan is None else gate(plan.cards, results, sign_offs)
    return {
        "aircraft": aircraft,
        "plan_title": None if plan is None else plan.title,
        "sorties": [{"id": s.id, "title": s.title, "created_ns": s.created_ns, "spins": len(s.rows)} for s in sorties],
        "spins": [_spin(sortie, row) for sortie in sorties for row in sortie.rows],
        "kinds": learnt(beliefs, _kinds(sorties)),
        "belief_version": belief_version,
        "surprises": open_points(results, sign_offs),
        **gate_record(gates),
    }


def gate_record(gates: Sequence[CardGate]) -> dict[str, Any]:
    """The gate as plain data with the next card named."""
    coming = next_card(gates)
    return {"gate": [card.as_record() for card in gates], "next_card": None if coming is None else coming.card}


def _spin(sortie: FlownSortie, row: Row) -> Row:
    return {"sortie": sortie.id, "sortie_title": sortie.title, "sortie_created_ns": sortie.created_ns, **row}


def _kinds(sorties: Sequence[FlownSortie]) -> list[tuple[str, str, str | None]]:
    found = {
        (str(row["orientation"]), str(row["direction"]), row["mode"])
        for sortie in sorties
        for row in sortie.rows
        if row["orientation"] and row["direction"]
    }
    return sorted(found, key=lambda kind: (kind[0] == "inverted", kind[1], kind[2] or ""))


def learnt(beliefs: Beliefs, kinds: Sequence[tuple[str, str, str | None]]) -> list[dict[str, Any]]:
    """Per kind of spin: what is predicted of the next one, and what the priors alone had said."""
    before = Beliefs(beliefs.aircraft, beliefs.priors)
    out = []
    for orientation, direction, mode in kinds:
        now = beliefs.predict(orientation, direction, mode)
        prior = before.predict(orientation, direction, mode)
        out.append(
            {
                "orientation": orientation,
                "direction": direction,
                "mode": mode,
                "own_spins": max(prediction.own_spins for prediction in now.values()),
                "quantities": {
                    name: {"now": _prediction(now[name]), "prior": _prediction(prior[name])} for name in now
                },
            }
        )
    return out


def _prediction(prediction: Prediction) -> dict[str, float | int]:
    # A Student-t reaches below zero; turns and losses do not.
    low, high = (1.0 - INTERVAL) / 2.0, (1.0 + INTERVAL) / 2.0
    return {
        "location": prediction.location,
        "low": max(prediction.quantile(low), 0.0),
        "high": prediction.quantile(high),
        "own_spins": prediction.own_spins,
    }


def open_points(results: Sequence[Result], sign_offs: Sequence[SignOff]) -> list[dict[str, Any]]:
    """Every spin with something against going on, and who has signed it off and why."""
    signed: dict[tuple[str, int], SignOff] = {(s.sortie, s.spin): s for s in sign_offs}
    return [
        {
            "sortie": result.sortie,
            "spin": result.spin,
            "card": result.card,
            "what": against,
            "signed_off": _sign_off(signed.get((result.sortie, result.spin))),
        }
        for result in results
        if (against := objections(result))
    ]


def _sign_off(sign_off: SignOff | None) -> Mapping[str, Any] | None:
    return None if sign_off is None else {"by": sign_off.by, "reason": sign_off.reason, "time_ns": sign_off.time_ns}
