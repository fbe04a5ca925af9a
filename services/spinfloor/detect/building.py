"""From a stored sortie to its detector, the same one every time."""

from __future__ import annotations

from collections.abc import Mapping

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Json
from spinfloor.core.plan.model import Floors, Plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.sorties import SortieRecord


def plan_of(record: SortieRecord) -> Plan:
    """The plan as it was checked when the sortie was created."""
    return Plan.model_validate(dict(record.plan))


def build_detector(record: SortieRecord) -> Detector:
    """A fresh detector with the plan and the beliefs the sortie was created with."""
    beliefs = None if record.beliefs is None else Beliefs.from_json(record.beliefs)
    return Detector(sortie=record.id, plan=plan_of(record), beliefs=beliefs)


def floors_from(floors: Mapping[str, Json]) -> Floors:
    """Floors as they were checked when they were set."""
    return Floors.model_validate(dict(floors))
