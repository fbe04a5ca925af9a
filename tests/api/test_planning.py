"""Checking plans, the programme with its sign-off, the score sheet and runs, through the real app on a real store."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.sqlite import open_store
from spinfloor.api.app import create_app
from spinfloor.api.plans import current_floors
from spinfloor.api.routes import meta
from spinfloor.api.settings import Settings
from spinfloor.client import Client, ServiceError
from spinfloor.core.plan.load import plan_to_data
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.sorties import SortieKind, SortieRecord

NAME = "r02-left-right-pair"


@pytest.fixture
async def client(tmp_path: Path) -> AsyncIterator[Client]:
    app: FastAPI = create_app(open_store(tmp_path), Settings(recordings=(RECORDINGS,)))
    async with app.router.lifespan_context(app):
        transport = httpx.ASGITransport(app=app)
        async with Client("http://127.0.0.1", transport=transport) as made:
            yield made


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    return plan_to_data(load_plan(RECORDINGS / f"{NAME}.plan.yaml"))


async def flown(client: Client, plan: dict[str, Any], name: str = "f1", kind: str = "flight") -> None:
    """A sortie with the whole recording sent."""
    block = read_recording(RECORDINGS / f"{NAME}.parquet", None).block
    await client.create_sortie(plan, sortie=name, kind=kind)
    await client.send_frames(name, "aircraft", 0, block)
    await client.state(name)


async def test_a_good_plan_has_a_budget_and_a_gate(client: Client, plan: dict[str, Any]) -> None:
    checked = await client.check_plan(plan)
    assert checked["faults"] == []
    assert [card["card"] for card in checked["budget"]["cards"]] == [card["id"] for card in plan["cards"]]
    assert checked["gate"][0]["state"] == "open"
    assert {card["state"] for card in checked["gate"][1:]} == {"closed"}
    for card in checked["budget"]["cards"]:
        # the layers add up to what is expected to be lost
        assert sum(part["loss_ft"] for part in card["parts"]) == pytest.approx(
            card["entry_ft"] - card["expected_level_ft"]
        )


async def test_a_bad_plan_is_an_answer_with_every_fault_by_path(client: Client, plan: dict[str, Any]) -> None:
    cards = [{**plan["cards"][0], "turns": -1, "direction": "up"}]
    checked = await client.check_plan({**plan, "floors": {"recovery_ft": 2_000, "abandon_ft": 3_000}, "cards": cards})
    paths = {fault["path"] for fault in checked["faults"]}
    assert paths >= {"floors.recovery_ft", "cards[0].turns", "cards[0].direction"}
    assert checked["budget"] is None


async def test_a_refusal_without_parts_is_told_as_the_service_said_it(client: Client) -> None:
    with pytest.raises(ServiceError) as refused:
        await client.sources("x/y")  # no sortie is called so, and no path is like that
    assert refused.value.sentence == refused.value.problem["detail"]
    assert refused.value.sentence.count("xpected") == 1


@pytest.mark.parametrize("body", [b"not json", b"[]", b"null", b"\xff\xfe", b'{"cards": [[[[]]]]}'])
async def test_no_body_breaks_the_check(client: Client, body: bytes) -> None:
    statuses: set[int] = set()
    for kind in ("application/json", "application/yaml"):
        try:
            answer = await client.request("POST", "/v1/plans/check", content=body, headers={"Content-Type": kind})
        except ServiceError as refused:
            statuses.add(refused.status)
        else:
            statuses.add(answer.status_code)
            assert answer.json()["faults"]
    assert statuses <= {200, 422}


async def test_a_plan_is_checked_in_every_form_it_can_be_created_from(client: Client, plan: dict[str, Any]) -> None:
    text = (RECORDINGS / f"{NAME}.plan.yaml").read_bytes()
    bare = await client.request("POST", "/v1/plans/check", content=text, headers={"Content-Type": ""})
    assert (bare.json()["faults"], bare.json()["plan"]) == ([], plan)
    assert (await client.check_plan({"plan": plan}))["plan"] == plan


async def test_the_floors_in_force_are_the_last_however_often_they_were_moved(tmp_path: Path) -> None:
    ports = open_store(tmp_path)
    plan = plan_to_data(load_plan(RECORDINGS / f"{NAME}.plan.yaml"))
    record = SortieRecord("s", SortieKind.FLIGHT, 1, "a", plan, None, 0)
    for time in range(1001):
        await ports.audit.add(AuditRecord(time, "x", "floors", "s", {"floors": {"recovery_ft": 5000.0 + time}}))
    assert await current_floors(ports, record) == {"recovery_ft": 6000.0}
    await ports.close()


async def test_a_part_of_the_service_names_no_method_of_a_route_it_has_not(tmp_path: Path) -> None:
    app = create_app(open_store(tmp_path), Settings(), detect=False, watched=False, routers=(meta.router,))
    async with app.router.lifespan_context(app), Client.inside(app) as client:
        for path, status in (("/v1/sorties", 404), ("/v1/plan-schema", 405)):
            with pytest.raises(ServiceError) as refused:
                await client.request("PUT", path)
            assert refused.value.status == status


async def test_flights_open_cards_and_teach_and_rehearsals_do_not(client: Client, plan: dict[str, Any]) -> None:
    aircraft = plan["aircraft"]["name"]
    await flown(client, plan, "r1", kind="rehearsal")
    assert (await client.check_plan(plan))["gate"][0]["state"] == "open"
    await flown(client, plan, "f1")
    programme = await client.programme(aircraft)
    assert [spin["sortie"] for spin in programme["spins"]] == ["f1", "f1"]
    assert [card["state"] for card in programme["gate"]] == ["flown", "flown"]
    assert (await client.check_plan(plan))["gate"] == programme["gate"]
    assert aircraft in (await client.programme())["aircraft"]


async def test_signing_off_needs_a_reason_and_something_to_sign(client: Client, plan: dict[str, Any]) -> None:
    # a floor above level flight makes both recoveries end below it: something stands against going on
    high = {**plan, "floors": {**plan["floors"], "recovery_ft": 11_500.0}}
    high["cards"] = [*plan["cards"], {**plan["cards"][-1], "id": "B9", "entry_altitude_ft": 16_000.0}]
    await flown(client, high)
    aircraft = plan["aircraft"]["name"]
    assert [card["state"] for card in (await client.programme(aircraft))["gate"]][-1] == "closed"
    with pytest.raises(ServiceError, match="a reason in words"):
        await client.sign_off("f1", 1, by="test conductor", reason=" ")
    with pytest.raises(ServiceError, match="spin 9 of f1"):
        await client.sign_off("f1", 9, by="test conductor", reason="looked at")
    points = (await client.programme(aircraft))["surprises"]
    for point in points:
        await client.sign_off(point["sortie"], point["spin"], by="test conductor", reason="the floor was set too high")
    after = await client.programme(aircraft)
    assert [card["state"] for card in after["gate"]][-1] == "open"
    assert {point["signed_off"]["reason"] for point in after["surprises"]} == {"the floor was set too high"}


async def test_an_unknown_aircraft_is_told(client: Client) -> None:
    with pytest.raises(ServiceError) as refused:
        await client.programme("no such aircraft")
    assert refused.value.status == 404


async def test_the_score_of_a_rehearsal(client: Client) -> None:
    replay = await client.start_replay(NAME, paused=True)
    waiting = await client.score(replay["sortie"])
    assert waiting["complete"] is False
    assert {line["tool_says"] for line in waiting["lines"]} == {"missed"}
    await client.change_replay(replay["id"], position_s=replay["length_s"])
    played = await client.score(replay["sortie"])
    assert played["complete"] is True
    assert played["counts"]["tool"]["missed"] == 0
    assert played["counts"]["tool"]["in time"] == len(waiting["lines"])


async def test_a_late_crew_costs_height_in_the_rehearsal(client: Client) -> None:
    margins = []
    for turns in (0, 2):
        replay = await client.start_replay(NAME, crew_response_turns=turns, paused=True)
        await client.change_replay(replay["id"], position_s=replay["length_s"])
        margins.append([spin["margin_ft"] for spin in await client.spins(replay["sortie"])])
        assert (await client.score(replay["sortie"]))["crew_response_turns"] == turns
    assert all(late < usual - 500.0 for usual, late in zip(*margins, strict=True))


async def test_a_flight_has_no_score(client: Client, plan: dict[str, Any]) -> None:
    await client.create_sortie(plan, sortie="f1")
    with pytest.raises(ServiceError, match="a rehearsal made from a recording"):
        await client.score("f1")


async def test_runs_and_their_differences(client: Client, plan: dict[str, Any]) -> None:
    await flown(client, plan)
    runs = await client.runs("f1")
    (only,) = runs["runs"]
    assert only["run"] == runs["current"]
    assert only["events"] == len(await client.events("f1"))
    differences = await client.run_differences("f1", only["run"], only["run"])
    assert (differences["same"], differences["spins"], differences["calls"]) == (True, [], [])
    with pytest.raises(ServiceError, match="one of the runs"):
        await client.run_differences("f1", only["run"], "nothing")


async def test_a_recording_brings_its_plan(client: Client, plan: dict[str, Any]) -> None:
    assert (await client.recording(NAME))["plan"] == plan
    with pytest.raises(ServiceError):
        await client.recording("nothing")
