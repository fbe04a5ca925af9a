"""What a person's mark changes in the decision record: acknowledgements, calls made by a person, the card chosen.

`controls_applied` belongs to the motion side and `floors` to `set_floors`; `note` changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import CALLS, Call, Mark
from spinfloor.core.recovery import reasons
from spinfloor.core.recovery.state import NOT_CHOSEN
from spinfloor.core.units import NANOSECONDS_PER_SECOND

REPEATING = (reasons.ABANDON, reasons.CHUTE, reasons.RECOVER)


class MarkError(SpinfloorError):
    """The mark does not say what it must."""

    code = "bad-mark"
    http_status = 422


def check_mark(mark: Mark, card_ids: Sequence[str]) -> None:
    """Raise MarkError unless the decision step can take the mark. Call it before journalling."""
    if mark.kind == "card":
        _card_position(mark, card_ids)
    elif mark.kind == "call_made":
        _call_of(mark, required=True)
    elif mark.kind == "acknowledge":
        _call_of(mark, required=False)


def apply_mark(
    mark: Mark, decision: npt.NDArray[Any], cards: npt.NDArray[Any], settings: npt.NDArray[Any], card_ids: Sequence[str]
) -> None:
    """Change the decision record (shape (1,)) as the mark says. Raises MarkError and changes nothing when it cannot."""
    state = decision[0]
    if mark.kind == "acknowledge":
        _acknowledge(mark, state)
    elif mark.kind == "call_made":
        _call_made(mark, state, settings)
    elif mark.kind == "card":
        _choose_card(_card_position(mark, card_ids), state, cards)


def _acknowledge(mark: Mark, state: np.void) -> None:
    """Silence what was spoken of one call, or of every repeating call when none is named, and what is less grave.

    A graver reason that holds but has not been spoken yet is still to be heard.
    """
    named = _call_of(mark, required=False)
    calls = REPEATING if named is None else (named,)
    for call in calls:
        heard = (1 << int(state["spoken"][call]).bit_length()) - 1
        state["silenced"][call] |= state["active"][call] & heard
    highest = next((call for call in calls if state["active"][call] & state["spoken"][call]), -1)
    for lower in (call for call in REPEATING if call < highest):
        state["silenced"][lower] |= state["active"][lower]


def _call_made(mark: Mark, state: np.void, settings: npt.NDArray[Any]) -> None:
    """A person spoke the call: it counts as issued, so the tool does not talk over it and repeats from there."""
    call = _call_of(mark, required=True)
    assert call is not None
    busy = mark.time_ns < int(state["busy_until_ns"]) and int(state["busy_call"]) > call
    if not busy:
        state["busy_call"] = call
        state["busy_until_ns"] = mark.time_ns + int(float(settings["speaking_s"][0]) * NANOSECONDS_PER_SECOND)
    state["issued_ns"][call] = mark.time_ns
    state["repeats"][call] += 1
    state["spoken"][call] |= state["active"][call]


def _choose_card(position: int, state: np.void, cards: npt.NDArray[Any]) -> None:
    """The card of the spin going on, or of the next one."""
    state["card_index"] = position
    spinning = int(state["levelled"]) == 0
    if spinning:
        state["planned_turns"] = cards["turns"][position]
        turns_bit = 1 << (reasons.RECOVER_TURNS - reasons.FIRST_REASON[reasons.RECOVER])
        for held in ("active", "silenced", "spoken", "sure"):  # the other card's turns were meant
            state[held][reasons.RECOVER] &= ~turns_bit
    else:
        state["card_chosen"] = 1


def _card_position(mark: Mark, card_ids: Sequence[str]) -> int:
    wanted = mark.data.get("card")
    if isinstance(wanted, str) and wanted in card_ids:
        return list(card_ids).index(wanted)
    raise MarkError(
        expected="the id of one of the plan's cards in `card`",
        got=repr(wanted),
        now="the mark was not taken and the card stays as it was",
        cards=list(card_ids),
    )


def _call_of(mark: Mark, *, required: bool) -> int | None:
    wanted = mark.data.get("call")
    if wanted is None and not required:
        return None
    if isinstance(wanted, str) and wanted in {c.value for c in CALLS}:
        return CALLS.index(Call(wanted))
    raise MarkError(
        expected="the name of a call in `call`: " + ", ".join(c.value for c in reversed(CALLS)),
        got=repr(wanted),
        now="the mark was not taken",
    )


__all__ = ["NOT_CHOSEN", "MarkError", "apply_mark", "check_mark"]
