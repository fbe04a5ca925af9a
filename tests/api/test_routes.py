"""Sorties, floors, marks, spins, report, health: what each answers, and that every error is a problem."""

from __future__ import annotations

import asyncio
import itertools
from typing import Any

import orjson
import pytest
import yaml
from tests.serving_thread import Serving, frames, plan_data

from spinfloor.api.routes.sorties import new_sortie_id
from spinfloor.client import encode_batch
from spinfloor.ports.sorties import SortieKind, SortieRecord

NAMES = itertools.count()
MSGPACK = {"Content-Type": "application/msgpack"}


@pytest.fixture
def sortie(service: Serving) -> str:
    name = service.sortie(f"routes-{next(NAMES)}")
    service.http.post(f"/v1/sorties/{name}/frames", content=encode_batch("s", 0, frames()), headers=MSGPACK)
    return name


def problem(answer: Any, status: int) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    record: dict[str, Any] = answer.json()
    assert {"type", "title", "status", "detail", "code"} <= set(record)
    return record


def test_unknown_paths_and_methods_are_problems(service: Serving) -> None:
    assert problem(service.http.get("/v1/nothing/here"), 404)["code"] == "unknown-path"
    answer = service.http.put("/v1/sorties")
    assert problem(answer, 405)["code"] == "wrong-method"
    assert answer.headers["allow"] == "GET, POST"


@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("/v1/sorties", "GET, POST"),
        ("/v1/sorties/any/frames", "GET, POST"),
        ("/v1/replays/any", "DELETE, GET, PATCH"),
        ("/v1/session", "DELETE, GET, POST"),
        ("/healthz", "GET, HEAD"),
    ],
)
def test_a_wrong_method_is_told_all_the_right_ones(service: Serving, path: str, allowed: str) -> None:
    for method in ("OPTIONS", "PUT"):
        answer = service.http.request(method, path)
        assert (problem(answer, 405)["code"], answer.headers["allow"]) == ("wrong-method", allowed)


def test_a_refused_request_says_what_was_expected_what_came_and_where(service: Serving, sortie: str) -> None:
    here = f"/v1/sorties/{sortie}"
    for answer, faults in (
        (
            service.http.get(f"{here}/frames?max_points=1"),
            ["query.max_points: expected greater than or equal to 2; got '1'"],
        ),
        (service.http.get(f"{here}/events?after=soon"), ["query.after: expected a valid integer; got 'soon'"]),
        (
            service.http.get("/v1/sorties/a%20b/state"),
            ["path.sortie: expected text that matches ^[A-Za-z0-9_-]{1,64}$; got 'a b'"],
        ),
        (
            service.http.post(f"{here}/marks", json={"mark": "note", "time_ns": False}),
            [
                "body.kind: expected a value; got nothing",
                "body.time_ns: expected a valid integer; got False",
                "body.mark: expected no key of this name; got 'note'",
            ],
        ),
    ):
        sentence = f"Expected a request without faults; got {len(faults)}: {'; '.join(faults)}; nothing was done."
        record = problem(answer, 422)
        assert (record["code"], record["detail"]) == ("bad-request", sentence)
        assert [f"{f['path']}: expected {f['expected']}; got {f['got']}" for f in record["faults"]] == faults
    broken = service.http.post(f"{here}/marks", content=b'{"kind":', headers={"Content-Type": "application/json"})
    assert problem(broken, 422)["code"] == "bad-json"


def test_events_of_a_run_that_there_is_none_of_are_refused(service: Serving, sortie: str) -> None:
    assert problem(service.http.get(f"/v1/sorties/{sortie}/events?run=none"), 404)["code"] == "unknown-run"
    current = service.http.get(f"/v1/sorties/{sortie}/events").json()
    assert service.http.get(f"/v1/sorties/{sortie}/events?run={current['run']}").json() == current


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_health_is_asked_with_head_too(service: Serving, path: str) -> None:
    answer = service.http.head(path)
    assert (answer.status_code, answer.content) == (200, b"")


def test_the_same_sortie_again_is_found_and_another_plan_is_a_conflict(service: Serving) -> None:
    name = service.sortie(f"again-{next(NAMES)}")
    assert service.http.post(f"/v1/sorties?id={name}", json=plan_data()).status_code == 200
    other = {**plan_data(), "title": "another"}
    assert problem(service.http.post(f"/v1/sorties?id={name}", json=other), 409)["code"] == "sortie-exists"


def test_a_bad_plan_lists_every_fault_by_path(service: Serving) -> None:
    bad = plan_data()
    bad["floors"] = {"recovery_ft": 1_000.0, "abandon_ft": 3_000.0}
    bad["cards"][0]["turns"] = -1
    faults = problem(service.http.post("/v1/sorties", json=bad), 422)["faults"]
    assert {"floors.recovery_ft", "cards[0].turns"} <= {fault["path"] for fault in faults}


def test_floors_may_stand_beside_who_sets_them_and_are_shown_in_force(service: Serving, sortie: str) -> None:
    path = f"/v1/sorties/{sortie}"
    planned = service.http.get(path).json()
    assert planned["floors"] == planned["plan"]["floors"]
    assert service.http.patch(f"{path}/floors", json={"recovery_ft": 6_500.0}).status_code == 200
    moved = service.http.get(path).json()
    assert moved["floors"] == {**planned["floors"], "recovery_ft": 6_500.0}
    assert moved["plan"] == planned["plan"]
    mark = service.http.get(f"{path}/events?kind=mark").json()["events"][-1]["data"]
    assert (mark["mark"], mark["by"], mark["floors"]["recovery_ft"]) == ("floors", "control room", 6_500.0)
    for nonsense in ({}, {"by": "x"}, {"recover_ft": 1.0}, {"floors": {}, "recovery_ft": 1.0}):
        assert problem(service.http.patch(f"{path}/floors", json=nonsense), 422)["code"] == "bad-request"


def test_a_plan_is_taken_as_yaml_or_json_whatever_it_is_said_to_be(service: Serving) -> None:
    bodies = yaml.safe_dump(plan_data()).encode(), orjson.dumps(plan_data()), orjson.dumps({"plan": plan_data()})
    for kind in ("application/x-www-form-urlencoded", "text/plain", ""):
        for body in bodies:
            made = service.http.post(
                f"/v1/sorties?id=kind-{next(NAMES)}", content=body, headers={"Content-Type": kind} if kind else {}
            )
            assert made.status_code == 201, made.text
    said = service.http.post("/v1/sorties", content=bodies[0], headers={"Content-Type": "application/json"})
    assert problem(said, 422)["code"] == "bad-json"


def test_floors_move_as_a_whole_and_are_told_as_an_event(service: Serving, sortie: str) -> None:
    path = f"/v1/sorties/{sortie}/floors"
    moved = service.http.patch(path, json={"floors": {"recovery_ft": 6_500.0}, "by": "test conductor"})
    assert moved.json()["floors"]["recovery_ft"] == 6_500.0
    assert service.http.get(f"/v1/sorties/{sortie}/state").json()["floors"]["recovery_ft"] == 6_500.0
    refused = service.http.patch(path, json={"floors": {"recovery_ft": 10.0}, "by": "test conductor"})
    assert problem(refused, 422)["faults"][0]["path"] == "floors.recovery_ft"
    marks = service.http.get(f"/v1/sorties/{sortie}/events?kind=mark").json()["events"]
    assert [m["data"]["floors"]["recovery_ft"] for m in marks] == [6_500.0]
    actions = [r["action"] for r in service.http.get(f"/v1/sorties/{sortie}/audit").json()["records"]]
    assert actions == ["sortie.created", "floors"]


def test_a_floor_is_raised_above_the_entry_of_planned_cards(service: Serving, sortie: str) -> None:
    path = f"/v1/sorties/{sortie}"
    entry_ft = min(card["entry_altitude_ft"] for card in plan_data()["cards"])
    raised = service.http.patch(f"{path}/floors", json={"recovery_ft": entry_ft + 1_000.0})
    assert raised.json()["floors"]["recovery_ft"] == entry_ft + 1_000.0
    assert service.http.get(f"{path}/state").json()["floors"]["recovery_ft"] == entry_ft + 1_000.0
    again = service.http.patch(f"{path}/floors", json={"abandon_ft": entry_ft})
    assert again.json()["floors"] == {**raised.json()["floors"], "abandon_ft": entry_ft}
    for what in ("report", "spins", "archive"):
        assert service.http.get(f"{path}/{what}").status_code == 200


def test_marks_are_journalled_once_and_bad_ones_refused(service: Serving, sortie: str) -> None:
    path = f"/v1/sorties/{sortie}/marks"
    body = {"kind": "note", "by": "test engineer", "data": {"text": "buffet heavy"}, "key": "n1"}
    assert service.http.post(path, json=body).status_code == 201
    assert service.http.post(path, json=body).json()["duplicate"] is True
    problem(service.http.post(path, json={"kind": "nonsense"}), 422)
    problem(service.http.post(path, json={"kind": "note", "extra": 1}), 422)
    for data in ({}, {"floors": {"recovery_ft": "low"}}):  # floors are checked, and moved by PATCH
        assert problem(service.http.post(path, json={"kind": "floors", "data": data}), 422)["code"] == "unknown-mark"
    assert service.http.get(f"/v1/sorties/{sortie}/report").status_code == 200
    marks = service.http.get(f"/v1/sorties/{sortie}/events?kind=mark").json()["events"]
    assert [m["data"]["text"] for m in marks] == ["buffet heavy"]


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "controls applied"},
        {"kind": "Controls-Applied"},
        {"kind": "call made", "call": "recover"},
        {"kind": "acknowledge", "call": "recover", "data": {}},
        {"kind": "note", "text": "buffet"},
    ],
)
def test_marks_are_taken_as_they_are_said(service: Serving, body: dict[str, Any]) -> None:
    said = service.sortie(f"said-{abs(hash(str(body)))}")
    assert service.http.post(f"/v1/sorties/{said}/marks", json=body).status_code == 201
    (mark,) = service.http.get(f"/v1/sorties/{said}/events?kind=mark").json()["events"]
    assert mark["data"]["mark"] == body["kind"].lower().replace(" ", "_").replace("-", "_")
    assert {k: mark["data"].get(k) for k in ("call", "text")} == {k: body.get(k) for k in ("call", "text")}


def test_made_up_names_of_the_same_moment_differ() -> None:
    """Two alike would be one sortie with the frames of both."""
    assert len({new_sortie_id(1_900_000_000_000_000_000) for _ in range(3000)}) == 3000


def test_a_sortie_is_named_in_the_address_or_beside_its_plan(service: Serving) -> None:
    made = service.http.post("/v1/sorties", json={"plan": plan_data(), "id": "named-beside"})
    assert (made.status_code, made.json()["id"]) == (201, "named-beside")
    again = service.http.post("/v1/sorties?id=named-beside", json={"plan": plan_data(), "id": "named-beside"})
    assert again.status_code == 200
    for address, body in (("?id=one", "other"), ("", "a b"), ("", 7)):
        refused = service.http.post(f"/v1/sorties{address}", json={"plan": plan_data(), "id": body})
        assert problem(refused, 422)["code"] == "bad-request"


def test_spins_are_rows_in_every_format(service: Serving, sortie: str) -> None:
    rows = service.http.get(f"/v1/sorties/{sortie}/spins").json()["spins"]
    # r02 is a pair: one upright spin to the left and one to the right, said in its notes from the simulator's state
    assert [(r["orientation"], r["direction"]) for r in rows] == [("upright", "left"), ("upright", "right")]
    assert all(r["end_ns"] > r["start_ns"] for r in rows)
    assert len(service.http.get(f"/v1/sorties/{sortie}/spins?format=csv").text.splitlines()) == 3


def test_the_report_is_a_page_with_the_cautions(service: Serving, sortie: str) -> None:
    page = service.http.get(f"/v1/sorties/{sortie}/report")
    assert page.headers["content-type"].startswith("text/html")
    assert "spinfloor advises" in page.text
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert service.http.get(f"/v1/sorties/{sortie}/report?format=pdf").content.startswith(b"%PDF")
    for accept, starts in (("application/pdf", b"%PDF"), ("text/html;q=0.2, application/pdf", b"%PDF"), ("", b"<!")):
        answer = service.http.get(f"/v1/sorties/{sortie}/report", headers={"accept": accept})
        assert answer.content.lstrip().lower().startswith(starts.lower()), accept
    refused = service.http.get(f"/v1/sorties/{sortie}/report", headers={"accept": "image/png"})
    assert (refused.status_code, refused.json()["code"]) == (406, "unknown-format")


def test_health_readiness_metrics_and_schema(service: Serving, sortie: str) -> None:
    assert service.http.get("/healthz").json() == {"status": "ok"}
    assert service.http.get("/readyz").json() == {"status": "ready"}
    for path in ("/healthz", "/readyz"):
        assert service.http.get(f"/v1{path}").json() == service.http.get(path).json()
    assert "spinfloor_frames_taken_total" in service.http.get("/v1/metrics").text
    text = service.http.get("/metrics").text
    for name in ("spinfloor_frames_taken_total", "spinfloor_store_queue", "spinfloor_detectors", "spinfloor_watchers"):
        assert name in text
    assert service.http.get("/v1/plan-schema").json()["properties"]["floors"]


@pytest.mark.parametrize("name", ["a b", "x" * 65, "../etc", "%00", "a.b"])
def test_odd_names_are_refused(service: Serving, name: str) -> None:
    assert service.http.get(f"/v1/sorties/{name}").status_code in (404, 422)


def test_every_sortie_can_be_listed_however_many_there_are(service: Serving) -> None:
    aircraft = f"Pellam, listed {next(NAMES)}"
    plan = {**plan_data(), "aircraft": {**plan_data()["aircraft"], "name": aircraft}}
    made = [f"listed-{i}" for i in range(7)]
    for i, name in enumerate(made):
        kind = "rehearsal" if i in (2, 6) else "flight"
        assert service.http.post("/v1/sorties", params={"id": name, "kind": kind}, json=plan).status_code == 201

    def listed(**asked: Any) -> list[str]:
        answer = service.http.get("/v1/sorties", params={"aircraft": aircraft, **asked}).json()
        return [row["id"] for row in answer["sorties"]]

    found, page = [], listed(limit=3)
    while page:
        found += page
        page = listed(limit=3, before=page[-1])
    assert found == made[::-1]
    assert listed(kind="flight", limit=2, before=made[5]) == [made[4], made[3]]
    assert listed(kind="rehearsal") == [made[6], made[2]]
    problem(service.http.get("/v1/sorties", params={"before": "nobody"}), 404)
    problem(service.http.get("/v1/sorties", params={"kind": "neither"}), 422)


def test_an_aircraft_is_found_behind_a_thousand_rehearsals(service: Serving) -> None:
    aircraft = f"Pellam, flown once {next(NAMES)}"
    plan = {**plan_data(), "aircraft": {**plan_data()["aircraft"], "name": aircraft}}
    assert service.http.post("/v1/sorties?id=flown-once", json=plan).status_code == 201
    later = 2**62
    played = [SortieRecord(f"played-{i}", SortieKind.REHEARSAL, later + i, aircraft, plan) for i in range(1_000)]
    store = service.app.state.services.ports.sorties

    async def play() -> None:
        await asyncio.gather(*(store.create(record) for record in played))

    asyncio.run_coroutine_threadsafe(play(), service.loop).result(60.0)
    assert aircraft in service.http.get("/v1/programme").json()["aircraft"]
    spins = service.http.get("/v1/programme", params={"aircraft": aircraft})
    assert spins.status_code == 200
    assert "flown-once" in spins.text
