"""Programmes through the product's detector, one flight after the other, each with what the earlier ones taught."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from tests.truth import shared
from tests.truth.atmosphere import density
from tests.truth.catalogue import entries
from tests.truth.degrade import Record, degraded
from tests.truth.flight import KNOT, Flight
from tests.truth.keep import kept
from tests.truth.programmes import KINDS, SCATTER, Programme, flights
from tests.truth.situations import build

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind, Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.beliefs import Beliefs, Evidence

EARLIER = (0, 1, 3, 10)
FLIGHTS, SEEDS, ORDERS = 12, 4, 4
LOAD_FACTOR = 2.7
MARK_LATE_S = 0.5  # the crew say "recovering", the engineer presses
CLEAN = "none, 100 Hz"


@dataclass(frozen=True)
class Case:
    """One recovery: what had been predicted at the controls, what came. Heights ft, above sea level."""

    group: str
    kind: str
    five: bool
    earlier: int
    predicted_ft: float
    bound_ft: float
    level_ft: float
    loss_ft: float

    @property
    def error(self) -> float:
        """Predicted minus actual level height, over the actual loss; positive: it went lower than predicted."""
        return (self.predicted_ft - self.level_ft) / self.loss_ft

    @property
    def held(self) -> bool:
        """Level flight no lower than the cautious bound."""
        return self.level_ft >= self.bound_ft

    @property
    def allowance(self) -> float:
        """How far below the median the bound lies, over the actual loss."""
        return (self.predicted_ft - self.bound_ft) / self.loss_ft


Work = tuple[str, str, int, bool]


def programmes(*, quick: bool = False) -> list[Work]:
    """(scatter, kind, seed, five); scatter "sorties" for the truth flights of three spins each."""
    seeds = range(0, SEEDS, 3) if quick else range(SEEDS)
    out = [
        (scatter, kind, seed, five) for scatter in SCATTER for kind in KINDS for seed in seeds for five in (False, True)
    ]
    return [*out, ("sorties", "three spins", 0, False), ("sorties", "three spins", 0, True)]


def run_all(work: Sequence[Work], processes: int) -> list[Case]:
    """Every case, in order."""
    if processes <= 1:
        return [case for one in work for case in run_one(one)]
    with ProcessPoolExecutor(processes) as pool:
        return [case for cases in pool.map(run_one, work) for case in cases]


def run_one(work: Work) -> list[Case]:
    """One programme in several orders, or the sorties of three spins."""
    scatter, kind, seed, five = work
    if scatter == "sorties":
        return [case for flight in _sorties() for case in _sortie(flight, five)]
    programme = Programme.drawn(kind, scatter, seed)
    flown = flights(programme, FLIGHTS)
    if len(flown) < EARLIER[2] + 1:
        return []
    plan = plan_for(flown[0], stall_speed_kt(programme))
    out: list[Case] = []
    for k in range(ORDERS):
        first = k * len(flown) // ORDERS
        out += _in_order(programme, plan, flown[first:] + flown[:first], five)
    return out


def stall_speed_kt(programme: Programme) -> float:
    """True stalling speed of the airframe at 10,000 ft, lift coefficient 1.25 (as in its truth flights)."""
    frame = programme.frame
    return math.sqrt(2.0 * frame.mass_kg * 9.80665 / (density(3048.0) * frame.wing_area_m2 * 1.25)) / KNOT


def plan_for(flight: Flight, stall_kt: float | None) -> Plan:
    """What a test team would write of the aircraft: stall to the nearest degree, pull-out from stall x sqrt(n)."""
    aircraft: dict[str, Any] = {"name": "truth aircraft"}
    if stall_kt is not None:
        aircraft["stall_alpha_upright_deg"] = float(round(flight.stall_deg[0]))
        aircraft["stall_alpha_inverted_deg"] = float(round(flight.stall_deg[1]))
        aircraft["pull_out_load_factor_g"] = LOAD_FACTOR
        aircraft["pull_out_speed_kt"] = round(stall_kt * math.sqrt(LOAD_FACTOR))
    card = {"id": "T1", "direction": "right", "turns": 50.0, "entry_altitude_ft": 20_000.0}
    floors = {"recovery_ft": 3_000.0, "abandon_ft": 1_500.0}
    return Plan.model_validate({"title": "truth", "aircraft": aircraft, "floors": floors, "cards": [card]})


def _told(plan: Plan, beliefs: Beliefs | None, record: Record, flight: Flight) -> list[Event]:
    """Every event; without control telemetry the engineer marks the recovery controls, MARK_LATE_S after they went in."""
    detector = Detector(sortie="truth", plan=plan, beliefs=beliefs)
    block = FrameBlock.from_columns({"time_ns": record.time_ns, **record.columns})
    if "pedal_right_pct" in record.columns:
        return detector.feed(block)
    out: list[Event] = []
    done = 0
    for spin in flight.truth["spins"]:
        if spin["recovery_controls_s"] is None:
            continue
        pressed_ns = int(flight.time_ns[0] + (spin["recovery_controls_s"] + MARK_LATE_S) * 1e9)
        upto = int(np.searchsorted(record.time_ns, pressed_ns))
        out += detector.feed(block.slice(done, upto))
        out += detector.mark(Mark("controls_applied", pressed_ns, "engineer", {}))
        done = upto
    return out + detector.feed(block.slice(done, len(block)))


def _in_order(programme: Programme, plan: Plan, order: list[Flight], five: bool) -> list[Case]:
    beliefs = Beliefs.from_plan(plan)
    out: list[Case] = []
    for number, flight in enumerate(order):
        events = _told(plan, beliefs, degraded(flight, CLEAN, five=five), flight)
        found = [e for e in events if e.kind is Kind.RECOVERED]
        learnt = len(beliefs.evidence)
        if found and learnt in EARLIER:
            out += _case(programme.scatter, programme.kind, five, learnt, flight.truth["spins"][0], found[0].data)
        for event in found[:1]:
            evidence = Evidence.of_event(event.as_record(), number)
            beliefs = beliefs if evidence is None else beliefs.learn(evidence)
        if learnt >= EARLIER[-1]:
            break
    return out


def _sorties() -> list[Flight]:
    ours = [kept("ours", situation, seed, build) for situation, seed in entries() if situation == "three spins"]
    return ours + [f for f in shared.flights() if len(f.truth["spins"]) == 3]


def _sortie(flight: Flight, five: bool) -> list[Case]:
    """Three spins in one flight; the detector itself carries what the first taught to the second and third."""
    events = _told(plan_for(flight, None), None, degraded(flight, CLEAN, five=five), flight)
    recovered = [(e.time_ns, e.data) for e in events if e.kind is Kind.RECOVERED]
    out: list[Case] = []
    for number, spin in enumerate(flight.truth["spins"]):
        if spin["level_s"] is None:
            continue
        level_ns = int(flight.time_ns[0] + spin["level_s"] * 1e9)
        near = [data for t, data in recovered if abs(t - level_ns) < 4e9]
        for data in near[:1]:
            out += _case("sorties", f"spin {number + 1}", five, number, spin, data)
    return out


def _case(group: str, kind: str, five: bool, earlier: int, spin: dict[str, Any], data: Mapping[str, Any]) -> list[Case]:
    heights = spin["altitude_ft"]
    if data["predicted_margin_ft"] is None or "rec_control" not in heights:
        return []
    floor = data["altitude_ft"] - data["margin_ft"]
    loss = heights["rec_control"] - heights["level"]
    case = Case(
        group, kind, five, earlier, floor + data["predicted_margin_ft"], floor + data["predicted_bound_margin_ft"],
        heights["level"], loss,
    )  # fmt: skip
    return [case] if np.isfinite(case.error) else []
