"""One spin against one rule: was enough of a spin flown, were the recovery turns and the loss within what is allowed.

"One turn or three seconds, whichever is longer" needs both: at least the turns and at least the seconds before the
first recovery control. The clock of the recovery runs from that first movement. A verdict is arithmetic on one spin, no
finding of compliance: the authority's text, the approved plan and the operator decide.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from enum import StrEnum

from spinfloor.core.events import Json
from spinfloor.core.plan.rules import Rule

SOURCE_WORDS = {"mark": "a person's mark", "inferred": "inferred from the motion"}
SLACK = 1e-9  # for the last bit of a sum; "not more than one turn" holds at exactly one


class Outcome(StrEnum):
    """What the arithmetic says."""

    WITHIN = "within"
    EXCEEDED = "exceeded"
    NOT_SHOWN = "not shown"


@dataclass(frozen=True, slots=True)
class SpinFigures:
    """What a spin is judged on; None where it was not measured. The loss runs from the controls to the spin's end."""

    turns_before: float | None
    seconds_before: float | None
    recovery_turns: float | None
    recovery_loss_ft: float | None = None
    turns_sd: float | None = None
    recovery_source: str | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """One number against its limit."""

    what: str
    value: float | None
    limit: float
    unit: str
    holds: bool | None

    @property
    def sentence(self) -> str:
        """For the report."""
        unit = "turn" if self.unit == "turns" and self.limit == 1.0 else self.unit
        measured = "not measured" if self.value is None else f"{self.value:.2f} {self.unit}"
        return f"{self.what}: {measured}, limit {self.limit:g} {unit}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A spin judged by a rule, with the numbers and where the rule comes from."""

    rule: str
    title: str
    outcome: Outcome
    checks: tuple[Check, ...]
    notes: tuple[str, ...]
    source: str
    clause: str
    page: str
    verified: bool

    @property
    def sentence(self) -> str:
        """One line for screen and report; says so when the rule was not read in its own text."""
        mark = "" if self.verified else " [rule from memory, not verified]"
        numbers = "; ".join(check.sentence for check in self.checks)
        where = f"{self.source} {self.clause}".strip()
        return f"{self.outcome.value} by {where}{mark}: {numbers}"

    def as_record(self) -> dict[str, Json]:
        """Plain JSON."""
        record: dict[str, Json] = {**asdict(self), "outcome": self.outcome.value, "sentence": self.sentence}
        record["checks"] = [{**asdict(check), "sentence": check.sentence} for check in self.checks]
        record["notes"] = list(self.notes)
        return record


def judge(rule: Rule, figures: SpinFigures) -> Verdict:
    """The verdict on one spin."""
    flown = _flown_enough(rule, figures)
    allowed = _allowed(rule, figures)
    notes: list[str] = []
    if any(check.holds is False for check in allowed):
        outcome = Outcome.EXCEEDED
    elif any(check.holds is not True for check in (*flown, *allowed)):
        outcome = Outcome.NOT_SHOWN
        notes.extend(f"{check.what} short of what the rule has flown" for check in flown if check.holds is False)
    else:
        outcome = Outcome.WITHIN
    notes.extend(_notes(rule, figures))
    return Verdict(
        rule.key,
        rule.title,
        outcome,
        (*flown, *allowed),
        tuple(notes),
        rule.source,
        rule.clause,
        rule.page,
        rule.verified,
    )


def _at_least(what: str, value: float | None, limit: float, unit: str) -> Check:
    return Check(what, value, limit, unit, None if value is None else value >= limit - SLACK)


def _at_most(what: str, value: float | None, limit: float, unit: str) -> Check:
    return Check(what, value, limit, unit, None if value is None else value <= limit + SLACK)


def _flown_enough(rule: Rule, figures: SpinFigures) -> list[Check]:
    out: list[Check] = []
    if rule.turns_before is not None:
        out.append(_at_least("turns before recovery", figures.turns_before, rule.turns_before, "turns"))
    if rule.or_seconds is not None:
        out.append(_at_least("time before recovery", figures.seconds_before, rule.or_seconds, "s"))
    return out


def _allowed(rule: Rule, figures: SpinFigures) -> list[Check]:
    out = [_at_most("recovery turns", figures.recovery_turns, rule.recovery_turns, "turns")]
    if rule.loss_ft is not None:
        out.append(_at_most("loss in the recovery", figures.recovery_loss_ft, rule.loss_ft, "ft"))
    return out


def _notes(rule: Rule, figures: SpinFigures) -> list[str]:
    out: list[str] = [rule.note] if rule.note else []
    if not rule.verified:
        out.append("this rule's numbers are from memory; check them in the text before relying on the verdict")
    if figures.recovery_source in SOURCE_WORDS:
        out.append(f"first recovery control not from control telemetry: {SOURCE_WORDS[figures.recovery_source]}")
    turns, sd = figures.recovery_turns, figures.turns_sd
    if turns is not None and sd is not None and math.isfinite(sd) and abs(turns - rule.recovery_turns) <= 2.0 * sd:
        out.append(f"within two standard uncertainties ({2.0 * sd:.2f} turns) of the limit")
    return out
