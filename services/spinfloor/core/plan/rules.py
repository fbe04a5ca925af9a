"""The rules a spin is judged by, as data: what is flown, what is allowed, from which text, and whether anyone read it.

`verified` is true only where the number was read in the named text (or a quotation of it); the rest is from memory and
every verdict by it says so. Judging a spin is no certification: the authority's text and the operator decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Rule:
    """One row.

    turns_before: turns flown before the recovery; or_seconds: "or this long, whichever is longer" (None: turns only).
    recovery_turns: most additional turns, counted from the first recovery control movement. loss_ft: most height lost
    in the recovery without the dive pull-out, None where the rule has none.
    """

    key: str
    title: str
    turns_before: float | None
    or_seconds: float | None
    recovery_turns: float
    loss_ft: float | None
    source: str
    clause: str
    page: str
    verified: bool
    note: str = ""


_CLOCK = "recovery counted from the first control action"

_ROWS: Final = (
    Rule(
        "14-cfr-23.221-normal",
        "normal category, single engine",
        1.0,
        3.0,
        1.0,
        None,
        "14 CFR 23.221 (Amdt 23-50), 1-1-2014 edition",
        "(a)(1)",
        "p. 206",
        True,
        "one turn or three seconds, whichever is longer; " + _CLOCK,
    ),
    Rule(
        "14-cfr-23.221-acrobatic",
        "acrobatic category, flaps up",
        6.0,
        3.0,
        1.5,
        None,
        "14 CFR 23.221 (Amdt 23-50), as worded in AC 61-67C",
        "(c)",
        "AC 61-67C chapter 4",
        True,
        "six turns or three seconds, whichever is longer; numbers read in a copy of the circular, the rule's own "
        "wording (any point up to six turns, or any greater number asked for) is from memory",
    ),
    Rule(
        "14-cfr-23.221-acrobatic-flaps",
        "acrobatic category, flaps down",
        1.0,
        3.0,
        1.5,
        None,
        "14 CFR 23.221 (Amdt 23-50)",
        "(c)",
        "AC 61-67C chapter 4",
        False,
        "one turn or three seconds read in a copy of AC 61-67C; the 1.5 turns for this case are from memory",
    ),
    Rule(
        "14-cfr-23.2150",
        "aerobatic, amendment 23-64 of 2017",
        6.0,
        None,
        1.5,
        None,
        "14 CFR 23.2150",
        "(d)-(e)",
        "not read",
        False,
        _CLOCK,
    ),
    Rule(
        "cs-23.221-normal",
        "normal category, European text",
        1.0,
        3.0,
        1.0,
        None,
        "CS-23.221, up to amendment 4",
        "(a)",
        "not read",
        False,
    ),
    Rule(
        "cs-22.221-intentional",
        "sailplane, configuration approved for spins",
        5.0,
        None,
        1.0,
        None,
        "JAR-22.221 = CS-22.221",
        "(c)",
        "two published quotations",
        True,
        "five turns, or less where a spiral develops",
    ),
    Rule(
        "cs-22.221-not-approved",
        "sailplane, configuration not approved for spins",
        5.0,
        None,
        1.5,
        None,
        "JAR-22.221 = CS-22.221",
        "(d)",
        "a published quotation",
        True,
    ),
    Rule(
        "cs-22.221-one-turn",
        "any sailplane, any configuration",
        1.0,
        None,
        1.0,
        None,
        "JAR-22.221 = CS-22.221",
        "(e)",
        "a published quotation",
        True,
    ),
    Rule("cs-vla-221", "very light aeroplane", 1.0, 3.0, 1.0, None, "CS-VLA 221", "", "not read", False),
    Rule(
        "astm-f2245-not-intentional",
        "light sport aeroplane, no intentional spins",
        1.0,
        3.0,
        1.0,
        None,
        "ASTM F2245",
        "4.5.9",
        "not read",
        False,
    ),
    Rule(
        "astm-f2245-intentional",
        "light sport aeroplane, intentional spins",
        3.0,
        None,
        1.5,
        None,
        "ASTM F2245",
        "4.5.9",
        "not read",
        False,
    ),
    Rule(
        "mil-class-i-ab",
        "military class I, flight phase categories A and B",
        None,
        None,
        1.5,
        1_000.0,
        "MIL-STD-1797A appendix A 4.8.4.3.2 (MIL-F-8785C 3.4.2.2.2)",
        "table",
        "p. 657",
        True,
        "loss without the dive pull-out; that reading of the table's asterisk is from memory",
    ),
    Rule(
        "mil-class-i-pa",
        "military class I, power approach",
        None,
        None,
        1.0,
        800.0,
        "MIL-STD-1797A appendix A 4.8.4.3.2 (MIL-F-8785C 3.4.2.2.2)",
        "table",
        "p. 657",
        True,
        "loss without the dive pull-out; that reading of the table's asterisk is from memory",
    ),
    Rule(
        "mil-other-ab",
        "military classes II to IV, flight phase categories A and B",
        None,
        None,
        2.0,
        5_000.0,
        "MIL-STD-1797A appendix A 4.8.4.3.2 (MIL-F-8785C 3.4.2.2.2)",
        "table",
        "not read",
        False,
    ),
    Rule(
        "mil-other-pa",
        "military classes II to IV, power approach",
        None,
        None,
        1.0,
        1_000.0,
        "MIL-STD-1797A appendix A 4.8.4.3.2 (MIL-F-8785C 3.4.2.2.2)",
        "table",
        "p. 657",
        False,
        "the figures stood on the page read, the class they belong to was cut off",
    ),
)

RULES: Final[Mapping[str, Rule]] = MappingProxyType({rule.key: rule for rule in _ROWS})
