"""Archived events beside those made here: what counts as the same, and what is said when they are not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from spinfloor.archive.bench import Made
from spinfloor.archive.comparing import compare
from spinfloor.core.events import Event, Kind

RUN = "1-aaaaaaaaaa"


def events(count: int, **data: float) -> list[Event]:
    return [Event("s", RUN, k, Kind.SPIN_TURN, 10 * k, 10 * k + 1, {"turns": float(k), **data}) for k in range(count)]


@pytest.mark.parametrize(
    ("archived", "made", "complete", "run", "outcome", "first"),
    [
        (5, 5, True, RUN, "same", None),
        (0, 0, True, RUN, "same", None),
        (4, 5, False, RUN, "same", None),  # written while it was flown: the inputs go on a little further
        (4, 5, True, RUN, "different", 4),
        (5, 4, False, RUN, "different", 4),
        (5, 5, True, "0-older", "other detector", None),
        (4, 5, True, "0-older", "other detector", 4),
        (0, 5, True, None, "no run", None),
    ],
)
def test_outcomes(archived: int, made: int, complete: bool, run: str | None, outcome: str, first: int | None) -> None:
    found = compare(events(archived), Made(RUN, events(made), b""), complete=complete, run=run)
    assert (found.outcome, found.first_difference) == (outcome, first)
    assert (found.archived, found.made) == (archived, made)
    assert found.ours is (outcome in ("same", "no run"))


def test_names_do_not_count_and_the_last_digit_does() -> None:
    elsewhere = [replace(event, sortie="other", run="1-other") for event in events(3, altitude_ft=math.nan)]
    assert compare(elsewhere, Made(RUN, events(3, altitude_ft=math.nan), b""), complete=True, run=RUN).outcome == "same"
    off = [*events(2), replace(events(3)[2], data={"turns": math.nextafter(2.0, 3.0)})]
    found = compare(off, Made(RUN, events(3), b""), complete=True, run=RUN)
    assert (found.outcome, found.first_difference) == ("different", 2)
    assert "number 2" in found.words
