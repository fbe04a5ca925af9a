"""Learning goes on past a sortie that nobody can learn from, and past sign-offs that name no spin."""

from __future__ import annotations

import asyncio
from pathlib import Path

from tests.waiting import until

from spinfloor.adapters.sqlite import open_store
from spinfloor.archive.flown import sign_offs_of
from spinfloor.archive.learning import Learner
from spinfloor.archive.programme import SIGN_OFF
from spinfloor.core.events import Event, Json, Kind
from spinfloor.core.plan.defaults import default_plan
from spinfloor.core.plan.load import plan_to_data
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieKind, SortieRecord

RECOVERED: dict[str, Json] = {
    "orientation": "upright", "direction": "right", "mode": "steep", "recovery_turns": 1.0, "loss_ft": 1500.0,
    "loss_per_turn_ft": 400.0, "pull_out_loss_ft": 900.0,
}  # fmt: skip


async def _flown(
    ports: Ports, name: str, created_ns: int, plan: dict[str, Json], *, at_ns: int | None = None
) -> SortieRecord:
    record = SortieRecord(name, SortieKind.FLIGHT, created_ns, "Tessary 2", plan)
    await ports.sorties.create(record)
    time_ns = created_ns if at_ns is None else at_ns
    await ports.events.append([Event(name, "r", 0, Kind.RECOVERED, time_ns, time_ns, RECOVERED)], fence=1)
    return record


async def test_a_sortie_that_cannot_be_learnt_from_leaves_the_others_theirs(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    good: dict[str, Json] = plan_to_data(default_plan())
    await _flown(ports, "good", 1, good)
    await _flown(ports, "bad", 2, {"title": "no plan"})  # the newest is looked at first
    learner = Learner(ports)
    learning = asyncio.create_task(learner.run())
    await until(lambda: ports.beliefs.current("Tessary 2"), what="what the good one teaches")
    later = await _flown(ports, "later", 3, good)
    for _ in range(100):
        learner.on_events(later, [Event("later", "r", 0, Kind.RECOVERED, 1, 1, RECOVERED)])
    assert learner.waiting == 1

    async def both_learnt() -> bool:
        return len(await ports.beliefs.history("Tessary 2")) == 2

    await until(both_learnt, what="what the later one teaches")
    assert learner.waiting == 0
    learning.cancel()
    await asyncio.gather(learning, return_exceptions=True)
    await ports.close()


async def test_the_same_flight_under_another_name_teaches_once(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    plan: dict[str, Json] = plan_to_data(default_plan())
    learner = Learner(ports)
    taken = [
        await learner.learn(await _flown(ports, name, created_ns, plan, at_ns=at_ns))
        for created_ns, (name, at_ns) in enumerate((("flown", 1_000), ("imported", 1_000), ("next-day", 2_000)))
    ]
    assert taken == [1, 0, 1]
    stored = await ports.beliefs.current("Tessary 2")
    assert stored is not None
    assert [one.sortie for one in Beliefs.from_json(stored.beliefs).evidence] == ["flown", "next-day"]
    await ports.close()


async def test_a_sign_off_that_names_no_spin_signs_nothing_off(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    given: list[dict[str, Json]] = [{}, {"spin": "x"}, {"spin": 2, "reason": "looked at"}]
    for data in given:
        await ports.audit.add(AuditRecord(1, "engineer", SIGN_OFF, "s", data))
    assert [(one.sortie, one.spin, one.reason) for one in await sign_offs_of(ports)] == [("s", 2, "looked at")]
    await ports.close()
