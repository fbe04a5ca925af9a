"""Before a sortie exists: check a plan (all faults at once), its altitude budget, its gate; the rules there are."""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request

from spinfloor.api.bodies import plan_body
from spinfloor.api.responses import Json
from spinfloor.api.services import AsWatch, Use
from spinfloor.archive.flown import beliefs_in_force, flights_of, flown_sorties, sign_offs_of
from spinfloor.archive.programme import gate_record, results_of
from spinfloor.core.plan.budget import budget
from spinfloor.core.plan.faults import PlanError
from spinfloor.core.plan.gate import gate
from spinfloor.core.plan.load import plan_from, plan_to_data
from spinfloor.core.plan.model import Plan
from spinfloor.core.plan.rules import RULES
from spinfloor.ports.bundle import Ports

router = APIRouter(prefix="/v1", tags=["planning"])


@router.get("/rules")
async def list_rules(_caller: AsWatch) -> Json:
    """The rules a spin can be judged by, each with its source and whether its numbers were read there."""
    return Json({"rules": [asdict(rule) for rule in RULES.values()]})


@router.post("/plans/check")
async def check_plan(request: Request, services: Use, _caller: AsWatch) -> Json:
    """A plan (JSON or YAML) read and weighed, nothing stored. A faulty plan is an answer here, not an error.

    faults: all of them by path. Without any: the plan as taken, the budget of every card and where the gate stands,
    both with what earlier flights of the aircraft taught.
    """
    try:
        plan = plan_from(await plan_body(request))
    except PlanError as error:
        return Json({"faults": [fault.as_record() for fault in error.faults], "plan": None, "budget": None,
                     "gate": [], "next_card": None, "belief_version": 0})  # fmt: skip
    beliefs, version = await beliefs_in_force(services.ports, plan.aircraft.name, plan)
    weighed = await asyncio.to_thread(budget, plan, beliefs)
    return Json(
        {
            "faults": [],
            "plan": plan_to_data(plan),
            "budget": weighed.as_record(),
            "belief_version": version,
            **await _gate(services.ports, plan),
        }
    )


async def _gate(ports: Ports, plan: Plan) -> dict[str, Any]:
    flights = await flown_sorties(ports, await flights_of(ports, plan.aircraft.name))
    sign_offs = await sign_offs_of(ports, [flight.id for flight in flights])
    return gate_record(gate(plan.cards, results_of(flights), sign_offs))
