"""Reprocessing over HTTP and by command: new runs beside the flown one, which nothing touches."""

from __future__ import annotations

import os
import signal
from functools import partial
from typing import Any

import pytest
from tests.command_line import Run
from tests.serving_thread import Serving, frames, plan_data
from tests.waiting import wait_for

from spinfloor.client import Client, encode_batch

MSGPACK = {"Content-Type": "application/msgpack"}
HIGHER = {"floors": {"recovery_ft": 9_000.0}}


def _lost_data(service: Serving, name: str) -> bool:
    return bool(told(service, name)[-1]["kind"] == "link")


@pytest.fixture(scope="module")
def flown(service: Serving) -> list[str]:
    """Three flights that are over."""
    names = [service.sortie(f"flown-{k}", data_age_limit_s=0.5) for k in range(3)]
    for name in names:
        body = encode_batch("test", 0, frames())
        assert service.http.post(f"/v1/sorties/{name}/frames", content=body, headers=MSGPACK).status_code == 200
    for name in names:
        wait_for(partial(_lost_data, service, name), seconds=30.0, what="the loss of data")
    return names


def told(service: Serving, sortie: str, run: str | None = None) -> list[dict[str, Any]]:
    query = {} if run is None else {"run": run}
    return list(service.http.get(f"/v1/sorties/{sortie}/events", params=query).json()["events"])


def done(service: Serving, **wanted: Any) -> dict[str, Any]:
    """The job, once it has ended."""
    answer = service.http.post("/v1/reruns", json=wanted)
    assert answer.status_code == 202, answer.text
    where = answer.headers["location"]

    def ended() -> dict[str, Any] | None:
        job: dict[str, Any] = service.http.get(where).json()
        return None if job["state"] == "running" else job

    job = wait_for(ended, seconds=120.0, what="the end of the rerun")
    assert job is not None
    assert job["state"] == "done"
    return job


def test_the_same_settings_make_the_same_events_and_store_nothing(service: Serving, flown: list[str]) -> None:
    runs = service.http.get("/v1/sorties/flown-0/runs").json()
    (one,) = done(service, sorties=["flown-0"])["sorties"]
    assert (one["state"], one["same"], one["run"]) == ("done", True, runs["current"])
    assert (one["frames"], one["frames_done"]) == (len(frames()), len(frames()))
    assert service.http.get("/v1/sorties/flown-0/runs").json() == runs


def test_other_settings_make_a_run_beside_the_flown_one(service: Serving, flown: list[str]) -> None:
    before = told(service, "flown-1")
    earlier = service.http.get("/v1/sorties/flown-1/runs").json()["runs"]
    spins = service.http.get("/v1/sorties/flown-1/spins").json()
    (one,) = done(service, sorties=["flown-1"], plan=HIGHER, by="test conductor")["sorties"]
    assert one["same"] is False
    assert one["calls_changed"] > 0
    runs = service.http.get("/v1/sorties/flown-1/runs").json()
    (added,) = [run for run in runs["runs"] if run not in earlier]
    assert (added["run"], runs["current"]) == (one["run"], one["flown"])
    assert (added["about"]["plan"], added["about"]["by"], added["rerun"]) == (HIGHER, "test conductor", True)
    assert told(service, "flown-1") == before
    assert service.http.get("/v1/sorties/flown-1/spins").json() == spins
    assert service.http.get("/v1/sorties/flown-1").json()["plan"] == plan_data(data_age_limit_s=0.5)
    rerun = told(service, "flown-1", one["run"])
    margins = [[e["data"]["margin_ft"] for e in events if e["kind"] == "recovered"] for events in (before, rerun)]
    raised_ft = 9_000.0 - plan_data()["floors"]["recovery_ft"]  # the margin is counted from the floor
    assert margins[1] == pytest.approx([margin - raised_ft for margin in margins[0]])
    query = {"before": one["flown"], "after": one["run"]}
    table = service.http.get("/v1/sorties/flown-1/run-differences", params=query).json()
    assert len(table["calls"]) == one["calls_changed"]
    assert done(service, sorties=["flown-1"], plan=HIGHER)["sorties"][0]["run"] == one["run"]
    assert len(service.http.get("/v1/sorties/flown-1/runs").json()["runs"]) == len(earlier) + 1


def test_other_events_under_the_same_settings_get_a_name_of_their_own(service: Serving, flown: list[str]) -> None:
    """The words spoken are no setting of the detector, so the run's name alone does not tell the two apart."""
    made = [
        done(service, sorties=["flown-2"], plan={"call_words": {"recover": words}})["sorties"][0]["run"]
        for words in ("recover now", "out now")
    ]
    assert made[1] == f"{made[0]}.2"
    words = [{e["data"].get("words") for e in told(service, "flown-2", run)} for run in made]
    assert "recover now" in words[0]
    assert "out now" in words[1]


def test_a_whole_programme_at_once(service: Serving, flown: list[str]) -> None:
    job = done(service, aircraft=plan_data()["aircraft"]["name"], beliefs="priors")
    assert {one["sortie"] for one in job["sorties"]} >= set(flown)
    assert job["frames_done"] == job["frames"] >= 3 * len(frames())
    assert job["sorties_done"] == len(job["sorties"])
    assert all(one["state"] == "done" for one in job["sorties"])


def test_a_worker_that_is_killed_is_replaced(service: Serving, flown: list[str]) -> None:
    done(service, sorties=["flown-0"])
    pool = service.app.state.services.bench._pool
    for pid in list(pool._processes):
        os.kill(pid, signal.SIGKILL)
    assert done(service, sorties=["flown-0"])["sorties"][0]["same"] is True


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, 422),
        ({"all": True, "aircraft": "x"}, 422),
        ({"sorties": []}, 422),
        ({"sorties": ["nobody"]}, 404),
        ({"aircraft": "nobody's"}, 422),
        ({"sorties": ["flown-0"], "plan": {"floors": {"recovery_ft": 1.0}}}, 422),
        ({"sorties": ["flown-0"], "plan": {"aircraft": None}}, 422),
        ({"sorties": ["flown-0"], "plan": {"unknown": 1}}, 422),
        ({"sorties": ["flown-0"], "beliefs": "hope"}, 422),
    ],
)
def test_wrong_requests_are_problems(service: Serving, flown: list[str], body: dict[str, Any], status: int) -> None:
    answer = service.http.post("/v1/reruns", json=body)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json"), answer.text
    assert service.http.get("/v1/reruns/nothing").status_code == 404


async def test_the_client_can_end_a_rerun(service: Serving, flown: list[str]) -> None:
    async with Client(service.base) as client:
        job = await client.start_rerun(all=True, plan={"cautious_bound": 0.9})
        ended = await client.cancel_rerun(job["id"])
        assert ended["state"] == "cancelled"
        assert {one["state"] for one in ended["sorties"]} <= {"done", "not done"}
        assert job["id"] in [one["id"] for one in await client.reruns()]


def test_the_command_prints_the_differences(run: Run, service: Serving, flown: list[str]) -> None:
    done_ = run("reprocess", "flown-0", "--set=floors.recovery_ft=9000", f"--from={service.base}")
    assert done_.exit_code == 0, done_.stderr
    assert "beside the flown" in done_.stdout
    assert "call recover" in done_.stdout
    assert "1 of 1 sorties" in done_.stderr.splitlines()[-1]
    every = run("reprocess", "--all", f"--from={service.base}")
    assert every.exit_code == 0, every.stderr
    assert every.stdout.count("the same events as the flown run") >= 3
    for arguments in (("flown-0", "--set=nothing"), ("flown-0", "--set=floors.recovery_ft=1")):
        wrong = run("reprocess", *arguments, f"--from={service.base}")
        assert (wrong.exit_code, "Traceback" in wrong.stderr) == (2, False), wrong.stderr
