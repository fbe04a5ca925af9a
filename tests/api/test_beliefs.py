"""What a recovery taught is taken back and put back: versions, who and why, roles, and two at the same time."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from typing import Any

import pytest
from tests.serving_thread import ROOMY, Serving, frames, plan_data, serving
from tests.waiting import until

from spinfloor.api.auth import make_token
from spinfloor.client import Client, ServiceError
from spinfloor.ports.tokens import Role

SECRETS = {role: make_token(role.value, role, now_ns=1) for role in Role}
AIRCRAFT = plan_data()["aircraft"]["name"]
WHY: dict[str, Any] = {"by": "test engineer", "reason": "flown with the aft loading"}


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    records = tuple(record for _, record in SECRETS.values())
    with serving(tmp_path_factory.mktemp("beliefs"), settings, records) as running:
        yield running


def _client(service: Serving, role: Role) -> Client:
    return Client(service.base, token=SECRETS[role][0])


@pytest.fixture
async def flown(guarded: Serving) -> AsyncIterator[Client]:
    """A client with control of a service where two recoveries have been learnt."""
    async with _client(guarded, Role.CONTROL) as client:
        await client.create_sortie(plan_data(), sortie="flown")
        await client.send_frames("flown", "t", 0, frames())
        await until(lambda: _taught(client), what="two recoveries to teach something")
        if (await client.programme(AIRCRAFT))["withdrawn"]:
            await client.put_back(AIRCRAFT, **WHY)
        yield client


async def _taught(client: Client) -> bool:
    found = await client.programme(AIRCRAFT)
    return len(found["evidence"]) + len(found["withdrawn"]) == 2


async def _recovered(client: Client, sortie: str) -> bool:
    return len([event for event in await client.events(sortie) if event["kind"] == "recovered"]) == 2


async def _kept(client: Client) -> list[str]:
    """What the audit log holds of beliefs, in its order."""
    return [one["action"] for one in await client.audit("flown") if one["action"].startswith("beliefs.")]


def _spins(found: dict[str, Any], what: str) -> list[tuple[str, int]]:
    return sorted((one["sortie"], one["spin"]) for one in found[what])


async def test_one_is_withdrawn_and_put_back_as_it_was(flown: Client) -> None:
    before, kept = await flown.programme(AIRCRAFT), await _kept(flown)
    made = await flown.withdraw(AIRCRAFT, sortie="flown", spin=1, **WHY)
    without = await flown.programme(AIRCRAFT)
    assert made["version"] == without["belief_version"] == before["belief_version"] + 1
    assert _spins(without, "evidence") == [("flown", 2)]
    (out,) = without["withdrawn"]
    assert (out["sortie"], out["spin"], out["by"], out["reason"]) == (
        "flown",
        1,
        "test engineer (control)",
        WHY["reason"],
    )
    with pytest.raises(ServiceError) as refused:
        await flown.withdraw(AIRCRAFT, sortie="flown", spin=1, **WHY)
    assert (refused.value.status, refused.value.problem["code"]) == (404, "no-such-recovery")
    await flown.put_back(AIRCRAFT, sortie="flown", spin=1, **WHY)
    after = await flown.programme(AIRCRAFT)
    assert (after["withdrawn"], after["kinds"]) == ([], before["kinds"])
    assert sorted(after["evidence"], key=str) == sorted(before["evidence"], key=str)
    with pytest.raises(ServiceError) as nothing:
        await flown.put_back(AIRCRAFT, **WHY)
    assert nothing.value.problem["code"] == "no-such-recovery"
    assert (await _kept(flown))[len(kept) :] == ["beliefs.withdrawal", "beliefs.restoration"]


async def test_all_are_withdrawn_and_put_back(flown: Client) -> None:
    await flown.withdraw(AIRCRAFT, **WHY)
    without = await flown.programme(AIRCRAFT)
    assert _spins(without, "withdrawn") == [("flown", 1), ("flown", 2)]
    assert all(kind["own_spins"] == 0 for kind in without["kinds"])
    await flown.create_sortie(plan_data(), sortie="copy")
    await flown.send_frames("copy", "t", 0, frames())
    await until(lambda: _recovered(flown, "copy"), what="the copy's recoveries")
    assert (await flown.programme(AIRCRAFT))["evidence"] == []
    await flown.put_back(AIRCRAFT, **WHY)
    assert _spins(await flown.programme(AIRCRAFT), "evidence") == [("flown", 1), ("flown", 2)]


async def test_two_at_the_same_time_both_happen_or_one_is_told(flown: Client) -> None:
    """Each was answered as done once, and one of them was not."""
    answers = await asyncio.gather(
        *(flown.withdraw(AIRCRAFT, sortie="flown", spin=spin, **WHY) for spin in (1, 2)), return_exceptions=True
    )
    done = [answer for answer in answers if not isinstance(answer, BaseException)]
    refused = [answer for answer in answers if isinstance(answer, ServiceError)]
    assert [answer.problem["code"] for answer in refused] == ["stale-version"] * (2 - len(done))
    assert len((await flown.programme(AIRCRAFT))["withdrawn"]) == len(done)
    await flown.put_back(AIRCRAFT, **WHY)


@pytest.mark.parametrize("role", [Role.WATCH, Role.SOURCE])
async def test_only_control_may(guarded: Serving, flown: Client, role: Role) -> None:
    async with _client(guarded, role) as other:
        for change in (other.withdraw, other.put_back):
            with pytest.raises(ServiceError) as refused:
                await change(AIRCRAFT, **WHY)
            assert refused.value.status == 403
    assert _spins(await flown.programme(AIRCRAFT), "evidence") == [("flown", 1), ("flown", 2)]


async def test_who_and_why_are_needed(flown: Client) -> None:
    for given in ({**WHY, "reason": "  "}, {**WHY, "by": ""}):
        with pytest.raises(ServiceError) as refused:
            await flown.withdraw(AIRCRAFT, **given)
        assert (refused.value.status, refused.value.problem["code"]) == (422, "bad-request")


@pytest.mark.parametrize("name", ["Pellam 2/3", "/Pellam", "Pellam//2/beliefs", "50 % Pellam?#"])
async def test_an_aircraft_may_have_any_name(guarded: Serving, name: str) -> None:
    plan = plan_data()
    sortie = f"named-{len(name)}"
    async with _client(guarded, Role.CONTROL) as client:
        await client.create_sortie({**plan, "aircraft": {**plan["aircraft"], "name": name}}, sortie=sortie)
        await client.send_frames(sortie, "t", 0, frames())

        async def taught() -> bool:
            return len((await client.programme(name))["evidence"]) == 2

        await until(taught, what="two recoveries to teach something")
        found = await client.beliefs(name)
        assert found["aircraft"] == name
        await client.withdraw(name, sortie=sortie, spin=1, **WHY)
        assert _spins(await client.programme(name), "withdrawn") == [(sortie, 1)]
        await client.put_back(name, **WHY)
        assert _spins(await client.programme(name), "withdrawn") == []
