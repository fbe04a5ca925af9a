"""The entry-height budget: what each card costs in height, and whether its entry height pays for it.

The same compiled estimate as the live screen, asked before the spin: turns (the dearer first one included), reaction,
recovery turns, dive and pull-out, with the cautious bound. Result in feet as plain data, to print or to draw.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from spinfloor.core.detector.motion import MOTION_DTYPE
from spinfloor.core.events import Json
from spinfloor.core.plan.flatten import cards_record, settings_record
from spinfloor.core.plan.gate import build_up_notes
from spinfloor.core.plan.model import Plan, Reference
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.core.recovery.estimate import refresh_predictions, update_before_spin
from spinfloor.core.recovery.state import new_decision
from spinfloor.core.units import METRES_PER_FOOT

ROUND_UP_FT = 100.0
NEEDED_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Part:
    """One layer of the picture, from the top down: its expected loss and where it lies if all goes as expected."""

    name: str
    loss_ft: float
    top_ft: float
    bottom_ft: float


@dataclass(frozen=True, slots=True)
class CardBudget:
    """One card. Heights in the plan's own reference; margins are heights above the recovery floor at level flight."""

    card: str
    title: str
    entry_ft: float
    floor_ft: float
    parts: tuple[Part, ...]
    allowance_ft: float
    expected_level_ft: float
    cautious_level_ft: float
    expected_margin_ft: float
    cautious_margin_ft: float
    needed_entry_ft: float
    shortfall_ft: float
    enough: bool
    expected_seconds: float
    cautious_turns_left: float
    cautious_seconds_left: float
    earlier_spins: int

    @property
    def sentence(self) -> str:
        """One line for a person."""
        if self.enough:
            return (
                f"card {self.card}: enough; {self.cautious_margin_ft:,.0f} ft left above the floor at the cautious "
                f"bound, {self.expected_margin_ft:,.0f} ft expected"
            )
        return (
            f"card {self.card}: refused; entry at {self.entry_ft:,.0f} ft is {self.shortfall_ft:,.0f} ft too low, "
            f"it needs {self.needed_entry_ft:,.0f} ft"
        )

    def as_record(self) -> dict[str, Json]:
        """Plain JSON."""
        record: dict[str, Json] = {**asdict(self), "sentence": self.sentence}
        record["parts"] = [asdict(part) for part in self.parts]
        return record


@dataclass(frozen=True, slots=True)
class Budget:
    """All cards of a plan in build-up order."""

    title: str
    reference: str
    cautious_bound: float
    floors_ft: dict[str, float]
    cards: tuple[CardBudget, ...]
    notes: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """True when every card's entry height pays for it."""
        return all(card.enough for card in self.cards)

    def as_record(self) -> dict[str, Json]:
        """Plain JSON for the Plan screen."""
        return {
            "title": self.title,
            "reference": self.reference,
            "cautious_bound": self.cautious_bound,
            "floors_ft": dict(self.floors_ft),
            "enough": self.enough,
            "cards": [card.as_record() for card in self.cards],
            "notes": list(self.notes),
        }


def budget(plan: Plan, beliefs: Beliefs | None = None) -> Budget:
    """Budget of every card, with what earlier spins taught where `beliefs` is given."""
    settings = settings_record(plan)
    cards = cards_record(plan)
    believed = (beliefs or Beliefs.from_plan(plan)).record()
    floors = plan.floors
    heights = {"recovery": floors.recovery_ft, "abandon": floors.abandon_ft, "ground": _ground_ft(plan, settings)}
    if floors.chute_ft is not None:
        heights["chute"] = floors.chute_ft
    return Budget(
        title=plan.title,
        reference=floors.reference.value,
        cautious_bound=plan.cautious_bound,
        floors_ft=heights,
        cards=tuple(_card_budget(plan, i, settings, cards, believed) for i in range(len(plan.cards))),
        notes=tuple(build_up_notes(plan)),
    )


def _ground_ft(plan: Plan, settings: npt.NDArray[Any]) -> float:
    if plan.floors.reference is Reference.GROUND:
        return 0.0
    return float(settings["ground_m"][0]) / METRES_PER_FOOT


def _card_budget(
    plan: Plan, index: int, settings: npt.NDArray[Any], cards: npt.NDArray[Any], believed: npt.NDArray[Any]
) -> CardBudget:
    card = plan.cards[index]
    state = _flown_from(float(cards["entry_altitude_m"][index]), index, settings, cards, believed)
    median, bound = (float(x) / METRES_PER_FOOT for x in state["card_loss_m"][0, :2])
    parts = _parts(card.entry_altitude_ft, state, cards[index], settings, median)
    floor = plan.floors.recovery_ft
    margin = card.entry_altitude_ft - floor - bound
    needed = card.entry_altitude_ft - margin + _dearer_higher_up(index, -margin, settings, cards, believed)
    per_turn = float(state["loss_per_turn_m"][0]) / METRES_PER_FOOT
    period = plan.aircraft.priors.seconds_per_turn
    return CardBudget(
        card=card.id,
        title=card.title,
        entry_ft=card.entry_altitude_ft,
        floor_ft=floor,
        parts=parts,
        allowance_ft=bound - median,
        expected_level_ft=card.entry_altitude_ft - median,
        cautious_level_ft=card.entry_altitude_ft - bound,
        expected_margin_ft=card.entry_altitude_ft - median - floor,
        cautious_margin_ft=margin,
        needed_entry_ft=float(np.ceil(needed / ROUND_UP_FT) * ROUND_UP_FT),
        shortfall_ft=max(needed - card.entry_altitude_ft, 0.0),
        enough=margin >= 0.0,
        expected_seconds=card.turns * period,
        cautious_turns_left=margin / per_turn,
        cautious_seconds_left=margin / per_turn * period,
        earlier_spins=int(state["turns_prediction"][0, 3]),
    )


def _flown_from(
    entry_m: float, index: int, settings: npt.NDArray[Any], cards: npt.NDArray[Any], believed: npt.NDArray[Any]
) -> npt.NDArray[Any]:
    """The decision record of a card about to be flown from this height."""
    motion = np.zeros(1, MOTION_DTYPE)
    motion["altitude_m"] = entry_m
    flown = cards.copy()
    flown["entry_altitude_m"][index] = entry_m
    state = new_decision()
    state["card_index"] = index
    refresh_predictions(motion[0], state[0], believed[0], flown, settings[0], False)
    update_before_spin(motion[0], state[0], flown, settings[0])
    return state


def _dearer_higher_up(
    index: int, raise_ft: float, settings: npt.NDArray[Any], cards: npt.NDArray[Any], believed: npt.NDArray[Any]
) -> float:
    """What the pull-out costs more (or less) once the entry is raised by `raise_ft` and by this: thinner air."""
    entry_m = float(cards["entry_altitude_m"][index])
    here = float(_flown_from(entry_m, index, settings, cards, believed)["card_loss_m"][0, 1])
    extra_m = 0.0
    for _ in range(NEEDED_ROUNDS):  # the change shrinks about tenfold each round
        raised = entry_m + raise_ft * METRES_PER_FOOT + extra_m
        extra_m = float(_flown_from(raised, index, settings, cards, believed)["card_loss_m"][0, 1]) - here
    return extra_m / METRES_PER_FOOT


def _parts(
    entry_ft: float, state: npt.NDArray[Any], card: np.void, settings: npt.NDArray[Any], median_ft: float
) -> tuple[Part, ...]:
    """Layers from the entry height down; they add up to the median loss."""
    per_turn = float(state["loss_per_turn_m"][0]) / METRES_PER_FOOT
    first_extra = float(card["turns_to_pay"]) - float(card["turns"])
    reaction = float(settings["reaction_s"][0]) * float(settings["expected_sink_mps"][0]) / METRES_PER_FOOT
    layers = [
        ("planned turns", float(card["turns"]) * per_turn),
        ("dearer first turn", first_extra * per_turn),
        ("reaction", reaction),
        ("recovery turns", float(state["recovery_turns_left"][0]) * per_turn),
    ]
    layers.append(("dive and pull-out", median_ft - sum(loss for _, loss in layers)))
    out: list[Part] = []
    top = entry_ft
    for name, loss in layers:
        out.append(Part(name, loss, top, top - loss))
        top -= loss
    return tuple(out)
