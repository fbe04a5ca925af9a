"""Checks across fields that a schema cannot state, each giving a fault with its path.

They take the parts one by one, so that a fault in one part does not hide those of the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from spinfloor.core.plan.faults import Fault
from spinfloor.core.plan.model import Aircraft, CallWords, Card, Floors, Plan, Reference, Timing
from spinfloor.core.plan.rules import RULES

LEAST_GAP_FT = 1.0


def faults_of(plan: Plan) -> list[Fault]:
    """Every cross-field fault of a plan whose parts are each well-formed."""
    return list(
        check_parts(
            aircraft=plan.aircraft,
            floors=plan.floors,
            timing=plan.timing,
            words=plan.call_words,
            rule=plan.rule,
            cards=list(plan.cards),
        )
    )


def check_parts(
    *,
    aircraft: Aircraft | None,
    floors: Floors | None,
    timing: Timing | None,
    words: CallWords | None,
    rule: str | None,
    cards: Sequence[Card | None],
) -> Iterator[Fault]:
    """Faults of whatever parts are known; a part given as None was faulty in itself and is passed over."""
    if floors is not None:
        yield from _floor_order(floors)
    if floors is not None and aircraft is not None:
        yield from _chute(floors, aircraft)
    if timing is not None:
        yield from _timing(timing)
    if words is not None:
        yield from _words(words)
    if rule is not None and rule not in RULES:
        yield Fault("rule", "one of " + ", ".join(RULES), repr(rule))
    yield from _cards(cards, floors)


def _floor_order(floors: Floors) -> Iterator[Fault]:
    if floors.recovery_ft < floors.abandon_ft + LEAST_GAP_FT:
        yield Fault(
            "floors.recovery_ft",
            f"the recovery floor above the abandon floor of {floors.abandon_ft:g} ft",
            f"{floors.recovery_ft:g} ft",
        )
    if floors.chute_ft is not None and not floors.abandon_ft <= floors.chute_ft <= floors.recovery_ft:
        yield Fault(
            "floors.chute_ft",
            f"a chute floor between the abandon floor ({floors.abandon_ft:g} ft) and the recovery floor "
            f"({floors.recovery_ft:g} ft)",
            f"{floors.chute_ft:g} ft",
        )
    ground = 0.0 if floors.reference is Reference.GROUND else floors.ground_elevation_ft
    if floors.reference is not Reference.PRESSURE and floors.abandon_ft <= ground:
        yield Fault(
            "floors.abandon_ft", f"an abandon floor above the ground at {ground:g} ft", f"{floors.abandon_ft:g} ft"
        )


def _chute(floors: Floors, aircraft: Aircraft) -> Iterator[Fault]:
    if aircraft.chute_fitted and floors.chute_ft is None:
        yield Fault("floors.chute_ft", "a chute floor, because an anti-spin chute is fitted", "none")
    if not aircraft.chute_fitted and floors.chute_ft is not None:
        yield Fault(
            "aircraft.chute_fitted", "true, because floors.chute_ft is given (or no chute floor)", "false or missing"
        )


def _timing(timing: Timing) -> Iterator[Fault]:
    if timing.repeat_call_s < timing.speaking_s:
        yield Fault(
            "timing.repeat_call_s",
            f"a repetition period no shorter than the speaking time of {timing.speaking_s:g} s",
            f"{timing.repeat_call_s:g} s",
        )


def _words(words: CallWords) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for name, text in words.model_dump().items():
        key = " ".join(text.casefold().split())
        if key in seen:
            yield Fault(f"call_words.{name}", f"words that differ from those of {seen[key]}", repr(text))
        seen.setdefault(key, name)


def _cards(cards: Sequence[Card | None], floors: Floors | None) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for i, card in enumerate(cards):
        if card is None:
            continue
        if card.id in seen:
            yield Fault(f"cards[{i}].id", f"an id no other card has (cards[{seen[card.id]}] has it)", repr(card.id))
        seen.setdefault(card.id, i)
        if floors is not None and card.entry_altitude_ft <= floors.recovery_ft:
            yield Fault(
                f"cards[{i}].entry_altitude_ft",
                f"an entry altitude above the recovery floor of {floors.recovery_ft:g} ft",
                f"{card.entry_altitude_ft:g} ft",
            )
