"""The build-up: in which order the cards go from mild to severe, and whether the next card is open. Pure logic.

A card opens when every card before it has been flown and nothing stands against going on: a result outside the 99 %
prediction, a recovery below the floor or beyond the rule's limit closes everything after it until an engineer has
signed that spin off with a reason. The tool advises; the test conductor and the approved plan decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import MODES, Json, Mode
from spinfloor.core.plan.model import Card, Plan

LARGEST_STEP_TURNS = 2.0  # one turn, then three, then five or six is the usual build-up; common practice, no source


class SignOffError(SpinfloorError):
    """A sign-off that says too little."""

    code = "bad-sign-off"
    http_status = 422


@dataclass(frozen=True, slots=True)
class Result:
    """One flown spin as the gate sees it."""

    sortie: str
    spin: int
    card: str | None
    surprises: tuple[str, ...] = ()
    margin_ft: float | None = None
    exceeded: bool = False
    outcome: str | None = None


@dataclass(frozen=True, slots=True)
class SignOff:
    """An engineer has looked at one spin and says why the build-up may go on."""

    sortie: str
    spin: int
    by: str
    reason: str
    time_ns: int

    def __post_init__(self) -> None:
        if not self.by.strip() or len(self.reason.strip()) < 3:
            raise SignOffError(
                expected="who signs off, and a reason in words",
                got=f"by {self.by!r}, reason {self.reason!r}",
                now="the spin stays open and the next card closed",
            )


class CardState(StrEnum):
    """Where a card stands."""

    FLOWN = "flown"
    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class CardGate:
    """One card's state and why, in words."""

    card: str
    state: CardState
    reasons: tuple[str, ...]

    def as_record(self) -> dict[str, Json]:
        """Plain JSON."""
        return {"card": self.card, "state": self.state.value, "reasons": list(self.reasons)}


def objections(result: Result) -> list[str]:
    """What in one result stands against going on."""
    where = f"spin {result.spin} of {result.sortie}"
    out = [f"{where}: {what} outside the 99 % prediction" for what in result.surprises]
    if result.margin_ft is not None and result.margin_ft < 0.0:
        out.append(f"{where}: level flight {-result.margin_ft:,.0f} ft below the recovery floor")
    if result.exceeded:
        out.append(f"{where}: recovery beyond the limit of the rule")
    return out


def gate(cards: Sequence[Card], results: Sequence[Result], sign_offs: Sequence[SignOff]) -> list[CardGate]:
    """Every card's state, in build-up order. Results may come from any sortie of the aircraft."""
    signed = {(s.sortie, s.spin) for s in sign_offs}
    standing = [why for r in results if (r.sortie, r.spin) not in signed for why in objections(r)]
    flown = {r.card for r in results if r.card is not None}
    out: list[CardGate] = []
    missing: str | None = None
    for card in cards:
        if card.id in flown:
            out.append(CardGate(card.id, CardState.FLOWN, ()))
            continue
        reasons = list(standing)
        if missing is not None:
            reasons.append(f"card {missing} comes first in the build-up and has not been flown")
        out.append(CardGate(card.id, CardState.CLOSED if reasons else CardState.OPEN, tuple(reasons)))
        missing = missing or card.id
    return out


def next_card(gates: Sequence[CardGate]) -> CardGate | None:
    """The first card not flown, None when all are."""
    return next((g for g in gates if g.state is not CardState.FLOWN), None)


def build_up_notes(plan: Plan) -> list[str]:
    """Where the order of the cards steps up faster or in more ways at once than a build-up does. Advice, no refusal."""
    return [note for before, card in zip(plan.cards, plan.cards[1:], strict=False) for note in _step(before, card)]


def _flatness(card: Card) -> int | None:
    return None if card.mode is None else MODES.index(Mode(card.mode))


def _step(before: Card, card: Card) -> Iterator[str]:
    if (before.orientation, before.direction) != (card.orientation, card.direction):
        if before.orientation == "inverted" and card.orientation == "upright":
            yield f"card {card.id}: upright after inverted; the upright cards usually come first"
        return
    rising: list[str] = []
    if card.turns > before.turns:
        rising.append("turns")
        if card.turns - before.turns > LARGEST_STEP_TURNS:
            yield (
                f"card {card.id}: {card.turns:g} turns after {before.turns:g} in one step, "
                f"more than {LARGEST_STEP_TURNS:g} more"
            )
    flat_before, flat = _flatness(before), _flatness(card)
    if flat is not None and flat_before is not None and flat > flat_before:
        rising.append("mode")
    cg_before, cg = before.centre_of_gravity_pct, card.centre_of_gravity_pct
    if cg is not None and cg_before is not None and cg > cg_before:
        rising.append("centre of gravity aft")
    if card.power == "on" and before.power == "idle":
        rising.append("power")
    if len(rising) > 1:
        yield f"card {card.id}: {' and '.join(rising)} step up together after card {before.id}; usually one at a time"
