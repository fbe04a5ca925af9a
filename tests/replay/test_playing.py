"""Replays over the real service: played, paused, sought both ways, disturbed, stopped."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from typing import Any

import pytest
from tests.serving_thread import NAME, Serving, plan_data, serving
from tests.waiting import until

from spinfloor.client import Client, ServiceError


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    with serving(tmp_path_factory.mktemp("replays")) as running:
        yield running


@pytest.fixture
async def client(service: Serving) -> AsyncIterator[Client]:
    async with Client(service.base) as made:
        yield made


async def test_the_library_has_the_recording(client: Client) -> None:
    assert NAME in {recording["id"] for recording in await client.recordings()}
    with pytest.raises(ServiceError) as refused:
        await client.start_replay("no-such-recording")
    assert refused.value.status == 404


async def test_paused_stays_and_playing_moves_at_its_speed(client: Client) -> None:
    replay = await client.start_replay(NAME, paused=True, position_s=20.0)
    state = await client.state(replay["sortie"])
    assert (replay["state"], replay["position_s"], state["origin"]) == ("paused", 20.0, "replay")
    before = (await client.sortie(replay["sortie"]))["frames"]["count"]
    assert before > 0
    await client.change_replay(replay["id"], paused=False, speed=10.0)

    async def moved() -> bool:
        return bool((await client.replay(replay["id"]))["position_s"] > 25.0)

    await until(moved, seconds=30.0, what="five seconds of replay")
    await client.change_replay(replay["id"], paused=True)
    assert (await client.sortie(replay["sortie"]))["frames"]["count"] > before
    await client.stop_replay(replay["id"])
    assert (await client.sortie(replay["sortie"]))["kind"] == "rehearsal"


async def test_seeking_forward_gives_the_events_of_the_whole_and_back_begins_anew(client: Client) -> None:
    replay = await client.start_replay(NAME, paused=True)
    forward = await client.change_replay(replay["id"], position_s=replay["length_s"])
    assert forward["sortie"] == replay["sortie"]
    spins = await client.spins(replay["sortie"])
    assert [s["direction"] for s in spins] == ["left", "right"]
    back = await client.change_replay(replay["id"], position_s=30.0)
    assert back["sortie"] != replay["sortie"]
    assert back["position_s"] == pytest.approx(30.0, abs=0.5)
    events = await client.events(back["sortie"])
    assert [e["sequence"] for e in events] == list(range(len(events)))
    await client.stop_replay(replay["id"])


async def test_a_replay_never_plays_into_a_sortie_that_is_there(service: Serving, client: Client) -> None:
    flight = service.sortie("flown-already")
    replay = await client.start_replay(NAME, sortie="played-already", paused=True)
    for taken in (flight, "played-already"):
        with pytest.raises(ServiceError) as refused:
            await client.start_replay(NAME, plan=plan_data(), sortie=taken)
        assert (refused.value.status, refused.value.problem["code"]) == (409, "sortie-exists")
    assert (await client.sortie(flight))["frames"]["count"] == 0
    taken = service.sortie("played-already-2")
    await client.change_replay(replay["id"], position_s=20.0)
    back = await client.change_replay(replay["id"], position_s=5.0)
    assert back["sortie"] == "played-already-3"
    assert (await client.sortie(taken))["frames"]["count"] == 0
    await client.stop_replay(replay["id"])


async def test_a_screen_is_told_where_a_sought_replay_goes_on(client: Client) -> None:
    replay = await client.start_replay(NAME, paused=True, position_s=20.0)
    async for message in client.live(replay["sortie"]):
        if message["type"] == "state":
            await client.change_replay(replay["id"], position_s=5.0)
        elif message["type"] == "moved":
            break
    assert message["sortie"] == (await client.replay(replay["id"]))["sortie"]
    await client.stop_replay(replay["id"])


async def test_pausing_and_seeking_by_their_plain_names(client: Client) -> None:
    replay = await client.start_replay(NAME)
    paused = await client.change_replay(replay["id"], pause=True)
    sought = await client.change_replay(replay["id"], seek=20.0)
    assert (paused["state"], sought["state"], sought["position_s"]) == ("paused", "paused", 20.0)
    with pytest.raises(ServiceError):
        await client.change_replay(replay["id"], pause=True, paused=False)
    await client.stop_replay(replay["id"])


async def test_lost_data_is_called_in_a_rehearsal(client: Client) -> None:
    plan = plan_data(data_age_limit_s=0.3)
    faults = [{"kind": "loss", "from_s": 12.0, "to_s": 25.0}]
    replay = await client.start_replay(NAME, plan=plan, speed=4.0, position_s=10.0, faults=faults)

    async def lost() -> Any:
        return await client.events(replay["sortie"], kinds=["link"])

    assert await until(lost, seconds=30.0, what="the loss of data")
    await client.stop_replay(replay["id"])


async def test_data_that_comes_late_is_lost_once_and_comes_back(client: Client) -> None:
    plan = plan_data(data_age_limit_s=0.5)
    faults = [{"kind": "delay", "from_s": 12.0, "seconds": 2.0}]
    replay = await client.start_replay(NAME, plan=plan, speed=4.0, position_s=10.0, faults=faults)

    async def played() -> bool:
        return bool((await client.replay(replay["id"]))["position_s"] > 18.0)

    await until(played, seconds=30.0, what="eight seconds of replay")
    await client.change_replay(replay["id"], paused=True)
    link = await client.events(replay["sortie"], kinds=["link"])
    assert [event["data"]["state"] for event in link] == ["lost", "restored"]
    state = await client.state(replay["sortie"])
    assert state["data_late_s"] == 2.0
    assert state["data_age_s"] >= 2.0
    await client.stop_replay(replay["id"])


async def test_going_on_after_a_pause_is_no_loss_of_data(client: Client) -> None:
    replay = await client.start_replay(NAME, plan=plan_data(data_age_limit_s=0.1), paused=True, position_s=10.0)

    async def silent() -> bool:
        return bool((await client.state(replay["sortie"]))["data_age_s"] > 0.2)

    for going_on in range(8):
        await until(silent, seconds=30.0, what="twice the limit without a frame")
        before = (await client.change_replay(replay["id"], paused=False))["position_s"]

        async def gone_on(before: float = before) -> bool:
            return bool((await client.replay(replay["id"]))["position_s"] > before + 0.2)

        await until(gone_on, seconds=30.0, what="frames")
        await client.change_replay(replay["id"], paused=True)
        assert await client.events(replay["sortie"], kinds=["link"]) == [], f"after {going_on} pauses"
    await client.stop_replay(replay["id"])


async def test_an_incomplete_fault_is_refused(client: Client) -> None:
    with pytest.raises(ServiceError) as refused:
        await client.start_replay(NAME, faults=[{"kind": "clip", "channel": "yaw_rate_dps"}])
    assert refused.value.status == 422
    assert "value" in str(refused.value)


async def test_a_fault_that_ends_before_it_begins_is_refused(client: Client) -> None:
    with pytest.raises(ServiceError) as refused:
        await client.start_replay(NAME, faults=[{"kind": "loss", "from_s": 12.0, "to_s": 8.0}])
    assert refused.value.status == 422
    assert "expected an end after the beginning at 12 s" in str(refused.value).lower()


async def test_the_score_names_faults_set_while_it_played(client: Client) -> None:
    first, second = ({"kind": "loss", "from_s": at, "to_s": at + 1.0} for at in (4.0, 8.0))
    replay = await client.start_replay(NAME, paused=True, faults=[first])
    await client.change_replay(replay["id"], faults=[second])
    await client.change_replay(replay["id"], faults=[])
    assert (await client.score(replay["sortie"]))["faults"] == [first, second]
    await client.stop_replay(replay["id"])
