"""SortieStore, BeliefStore, AuditLog, TokenStore and SessionStore: what changes seldom."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from tests.ports.contract.sides import NUMBERS, Side, sortie_record

from spinfloor.ports import AuditRecord, Role, SessionRecord, SortieKind, TokenRecord
from spinfloor.ports.errors import SortieExistsError, StaleVersionError, UnknownSortieError


async def test_a_sortie_is_kept_as_created(side: Side) -> None:
    record = replace(
        sortie_record(f"s{next(NUMBERS)}"),
        beliefs={"recovery": {"mean": 0.1, "n": 3}},
        belief_version=4,
        notes={"card": "A1"},
    )
    assert await side.ports.sorties.create(record)
    assert await side.ports.sorties.get(record.id) == record
    assert not await side.ports.sorties.create(record)
    with pytest.raises(SortieExistsError):
        await side.ports.sorties.create(replace(record, plan={**record.plan, "title": "another"}))
    assert await side.ports.sorties.get(record.id) == record


async def test_created_by_many_at_once_is_new_once(side: Side) -> None:
    record = sortie_record(f"s{next(NUMBERS)}")
    answers = await asyncio.gather(*(side.ports.sorties.create(record) for _ in range(8)))
    assert answers.count(True) == 1


async def test_sorties_are_listed_newest_first(side: Side) -> None:
    aircraft = f"Rookwing, listed {next(NUMBERS)}"
    made = [await side.sortie(aircraft=aircraft, created_ns=i) for i in (5, 9, 7)]
    listed = [r.id for r in await side.ports.sorties.list_all(aircraft=aircraft)]
    assert listed == [made[1], made[2], made[0]]
    assert [r.id for r in await side.ports.sorties.list_all(limit=1, aircraft=aircraft)] == [made[1]]
    assert set(made) <= {r.id for r in await side.ports.sorties.list_all()}


async def test_sorties_behind_one_and_of_one_kind_are_listed(side: Side) -> None:
    aircraft, store = f"Rookwing, paged {next(NUMBERS)}", side.ports.sorties
    made = [await side.sortie(aircraft=aircraft, created_ns=i) for i in (3, 3, 3, 8)]
    rehearsed = replace(sortie_record(f"s{next(NUMBERS)}", aircraft=aircraft, created_ns=5), kind=SortieKind.REHEARSAL)
    await store.create(rehearsed)
    order = [made[3], rehearsed.id, made[2], made[1], made[0]]
    for place, sortie in enumerate(order):
        behind = [r.id for r in await store.list_all(aircraft=aircraft, before=sortie)]
        assert behind == order[place + 1 :]
    assert [r.id for r in await store.list_all(aircraft=aircraft, before=made[3], limit=2)] == order[1:3]
    flights = await store.list_all(aircraft=aircraft, kind=SortieKind.FLIGHT, before=made[3])
    assert [r.id for r in flights] == [made[2], made[1], made[0]]
    assert [r.id for r in await store.list_all(aircraft=aircraft, kind=SortieKind.REHEARSAL)] == [rehearsed.id]
    assert await store.list_all(aircraft=aircraft, before="nobody") == []


async def test_notes_are_merged(side: Side) -> None:
    sortie = await side.sortie()
    await asyncio.gather(*(side.ports.sorties.note(sortie, {f"k{i}": i}) for i in range(10)))
    await side.ports.sorties.note(sortie, {"k0": None})
    assert dict((await side.ports.sorties.get(sortie)).notes) == {**{f"k{i}": i for i in range(1, 10)}, "k0": None}


@pytest.mark.parametrize("name", ["nobody", "", "a'b", "nul\0"])
async def test_unknown_sorties_are_refused(side: Side, name: str) -> None:
    with pytest.raises(UnknownSortieError):
        await side.ports.sorties.get(name)
    with pytest.raises(UnknownSortieError):
        await side.ports.sorties.note(name, {})


async def test_beliefs_grow_by_versions(side: Side) -> None:
    aircraft, store = f"Rookwing {next(NUMBERS)}", side.ports.beliefs
    assert await store.current(aircraft) is None

    async def add(expected: int, key: str) -> int:
        added = await store.add(
            aircraft, expected_version=expected, beliefs={"mean": expected}, cause={"spin": key}, cause_key=key,
            created_ns=expected,
        )  # fmt: skip
        return added.version

    assert await add(0, "a") == 1
    assert await add(1, "b") == 2
    assert await add(7, "a") == 1
    with pytest.raises(StaleVersionError):
        await add(1, "c")
    assert [b.version for b in await store.history(aircraft)] == [1, 2]
    newest = await store.current(aircraft)
    assert newest is not None
    assert (newest.version, dict(newest.beliefs), dict(newest.cause)) == (2, {"mean": 1}, {"spin": "b"})
    assert aircraft in await store.aircraft()


async def test_one_of_many_learners_wins_each_version(side: Side) -> None:
    aircraft = f"Rookwing {next(NUMBERS)}"

    async def learn(key: str) -> int | None:
        try:
            added = await side.ports.beliefs.add(
                aircraft, expected_version=0, beliefs={}, cause={}, cause_key=key, created_ns=1
            )
        except StaleVersionError:
            return None
        return added.version

    assert (await asyncio.gather(*(learn(f"k{i}") for i in range(6)))).count(1) == 1


async def test_the_audit_log_keeps_order(side: Side) -> None:
    sortie = await side.sortie()
    log = side.ports.audit
    records = [AuditRecord(i, "test conductor", "floors" if i % 2 else "note", sortie, {"i": i}) for i in range(6)]
    positions = [await log.add(record) for record in records]
    await log.add(AuditRecord(9, "someone", "sign-off", None, {}))
    assert positions == sorted(set(positions))
    got = await log.read(sortie=sortie)
    assert got == [replace(r, position=p) for r, p in zip(records, positions, strict=True)]
    assert [r.data["i"] for r in await log.read(sortie=sortie, after=positions[2])] == [3, 4, 5]
    assert [r.data["i"] for r in await log.read(sortie=sortie, action="floors", limit=2)] == [1, 3]


async def test_tokens_are_kept_and_revoked(side: Side) -> None:
    name = f"t{next(NUMBERS)}"
    token = TokenRecord(name, "telemetry van", Role.SOURCE, "ab" * 32, 5, expires_ns=9)
    assert await side.ports.tokens.get(name) is None
    await side.ports.tokens.put(token)
    assert await side.ports.tokens.get(name) == token
    revoked = replace(token, revoked_ns=7)
    await side.ports.tokens.put(revoked)
    assert await side.ports.tokens.get(name) == revoked
    assert revoked in await side.ports.tokens.list_all()


async def test_ready_and_clock(side: Side) -> None:
    assert await side.ports.ready() is None
    before = side.ports.clock.steady_ns()
    await side.ports.clock.sleep(0.001)
    assert side.ports.clock.steady_ns() > before
    assert all(isinstance(value, (int, float)) for value in side.ports.gauges().values())


async def test_sessions_are_kept_replaced_forgotten_and_swept(side: Side) -> None:
    store, name = side.ports.sessions, f"{next(NUMBERS):064x}"
    first = SessionRecord(name, "token", 1_000, 2_000)
    assert await store.get(name) is None
    await store.put(first)
    assert await store.get(name) == first
    later = replace(first, expires_ns=3_000)
    await store.put(later)
    before = await store.sweep(3_000)  # over only after its last moment
    assert await store.get(name) == later
    assert await store.sweep(3_001) == before - 1
    assert await store.get(name) is None
    await store.put(first)
    await store.remove(name)
    await store.remove(name)
    assert await store.get(name) is None
