"""The plan used when a recording is analysed without one.

Every number is a starting point to look at a recording with, not a limit for a flight: floors can only be set by the
test team, and `spinfloor analyse` says on stderr that this plan was used.

Where the numbers come from:
- recovery floor 5,000 ft: military turboprop out-of-control training recovers above 5,000 ft above ground
  (CNATRA P-354, section 200). Taken as pressure altitude here, because the ground elevation is not known.
- abandon floor 3,000 ft: spins above 3,000 ft above ground only (a civil spin endorsement's lower limit); below it
  this plan calls to abandon.
- six turns each way, both ways up: the longest spin the acrobatic category asks for (14 CFR 23.221(c) as it stood
  until 2017).
- pull-out from a vertical dive at 2.5 g and 140 kt, one second each for reading, speaking and reacting, recovery in
  1.0 +- 0.5 turns: the plan schema's own defaults; common practice, no source.
- no altimeter lag: an assumed one would move every altitude in the output. A real altimeter may read hundreds of
  feet high in a spin, so the altitudes of an analysis without a plan are on the unsafe side.
"""

from __future__ import annotations

from typing import Final

from spinfloor.core.plan.model import Aircraft, Card, Floors, Plan

DEFAULT_PLAN_WORDS: Final = (
    "no plan given, using the built-in one: recovery floor 5,000 ft and abandon floor 3,000 ft pressure altitude, "
    "six turns, recovery in about one turn, pull-out at 2.5 g from 140 kt straight down, no chute, no altimeter lag; "
    "it is a way to look at a recording and no substitute for an approved plan"
)


def default_plan() -> Plan:
    """The built-in plan, see the module's text for each number."""
    cards = [
        Card(
            id=f"{orientation}-{direction}",
            title=f"any {orientation} spin to the {direction}",
            orientation=orientation,
            direction=direction,
            turns=6.0,
            entry_altitude_ft=15_000.0,
        )
        for orientation in ("upright", "inverted")
        for direction in ("left", "right")
    ]
    return Plan(
        title="built-in plan for looking at a recording",
        aircraft=Aircraft(name="aircraft not stated"),
        floors=Floors(recovery_ft=5_000.0, abandon_ft=3_000.0),
        cards=cards,
    )
