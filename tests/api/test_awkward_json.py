"""JSON that a parser takes and a program may not: numbers beyond 64 bits, NaN, lone surrogates, NUL, deep nesting."""

from __future__ import annotations

import itertools

import orjson
import pytest
from tests.serving_thread import NAME, Serving, plan_data

NAMES = itertools.count()
JSON = {"Content-Type": "application/json"}
AWKWARD = {
    "beyond 64 bits": b"123456789012345678901234567890",
    "beyond a double": b"1e400",
    "NaN": b"NaN",
    "infinity": b"-Infinity",
    "lone surrogate": b'"\\ud800"',
    "NUL": b'"a\\u0000b"',
    "other bytes": b'"\xff\xfe"',
    "deep list": b"[" * 2_000 + b"]" * 2_000,
    "deep object": b'{"a":' * 2_000 + b"1" + b"}" * 2_000,
    "very deep list": b"[" * 200_000,
    "nothing": b"null",
    "a long name": b'"' + b"a" * 100_000 + b'"',
}
# where the awkward value is put, and whether nonsense of the right type may be taken there
PLACES = {
    "mark data": ("POST", "/v1/sorties/{}/marks", b'{"kind":"note","data":{"text":%s}}'),
    "mark data, by its side": ("POST", "/v1/sorties/{}/marks", b'{"kind":"note","data":{"text":"a","more":%s}}'),
    "mark kind": ("POST", "/v1/sorties/{}/marks", b'{"kind":%s}'),
    "mark by": ("POST", "/v1/sorties/{}/marks", b'{"kind":"note","by":%s}'),
    "mark key": ("POST", "/v1/sorties/{}/marks", b'{"kind":"note","key":%s}'),
    "mark time": ("POST", "/v1/sorties/{}/marks", b'{"kind":"note","time_ns":%s}'),
    "card": ("POST", "/v1/sorties/{}/marks", b'{"kind":"card","data":{"card":%s}}'),
    "controls": ("POST", "/v1/sorties/{}/marks", b'{"kind":"controls_applied","data":%s}'),
    "floor": ("PATCH", "/v1/sorties/{}/floors", b'{"floors":{"recovery_ft":%s},"by":"x"}'),
    "floor name": ("PATCH", "/v1/sorties/{}/floors", b'{"floors":{"other":%s},"by":"x"}'),
    "floor key": ("PATCH", "/v1/sorties/{}/floors", b'{"floors":{%s:1},"by":"x"}'),
    "plan key": ("POST", "/v1/sorties", b"{%s:1}"),
    "batch key": ("POST", "/v1/sorties/{}/frames", b'{"source":"s","sequence":0,"columns":{%s:[1]}}'),
    "floors by": ("PATCH", "/v1/sorties/{}/floors", b'{"floors":{"recovery_ft":6500},"by":%s}'),
    "plan": ("POST", "/v1/sorties", b"%s"),
    "plan, wrapped": ("POST", "/v1/sorties", b'{"plan":%s}'),
    "plan title": ("POST", "/v1/sorties", b'{"title":%s}'),
    "plan check": ("POST", "/v1/plans/check", b'{"title":%s,"cards":[{"id":1}]}'),
    "replay plan": ("POST", "/v1/replays", b'{"recording":"' + NAME.encode() + b'","plan":{"title":%s}}'),
    "replay fault": ("POST", "/v1/replays", b'{"recording":"' + NAME.encode() + b'","faults":[{"kind":%s}]}'),
    "recording": ("POST", "/v1/replays", b'{"recording":%s}'),
    "sign-off": ("POST", "/v1/sorties/{}/spins/1/sign-off", b'{"by":"x","reason":%s}'),
    "note": ("POST", "/v1/sorties/{}/notes", b'{"by":"x","text":%s}'),
    "note by": ("POST", "/v1/sorties/{}/notes", b'{"by":%s,"text":"x"}'),
    "withdrawal": ("POST", "/v1/aircraft/nobody/beliefs/withdrawals", b'{"by":"x","reason":%s}'),
    "session": ("POST", "/v1/session", b'{"token":%s}'),
    "frames": ("POST", "/v1/sorties/{}/frames", b'{"source":"s","sequence":0,"columns":{"time_ns":[%s]}}'),
}


@pytest.mark.parametrize("place", PLACES)
def test_awkward_values_are_taken_or_refused_with_a_sentence(service: Serving, place: str) -> None:
    sortie = service.sortie(f"awkward-{next(NAMES)}")
    method, path, body = PLACES[place]
    for what, value in AWKWARD.items():
        answer = service.http.request(method, path.format(sortie), content=body.replace(b"%s", value), headers=JSON)
        assert answer.status_code < 500, (what, answer.text)
        if answer.status_code >= 400:
            assert answer.headers["content-type"] == "application/problem+json", what
            sentence = answer.json()["detail"]
            assert sentence.endswith("."), (what, sentence)
            assert len(sentence) < 2_000, what
    # Whatever was taken is told by every reader, and the service goes on.
    for reader in ("", "/events", "/state", "/audit", "/spins", "/report", "/events?format=csv"):
        assert service.http.get(f"/v1/sorties/{sortie}{reader}").status_code == 200, reader


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("POST", "/v1/sorties/{}/marks", {"kind": "note", "data": {"text": "a"}, "time_ns": False}),
        ("PATCH", "/v1/sorties/{}/floors", {"floors": {"recovery_ft": 6500.0}, "by": "x", "time_ns": True}),
        ("POST", "/v1/replays", {"recording": NAME, "speed": True}),
        ("POST", "/v1/replays", {"recording": NAME, "faults": [{"kind": "delay", "seconds": True}]}),
    ],
)
def test_true_and_false_are_no_numbers(service: Serving, method: str, path: str, body: dict[str, object]) -> None:
    sortie = service.sortie(f"awkward-{next(NAMES)}")
    answer = service.http.request(method, path.format(sortie), json=body)
    assert (answer.status_code, answer.json()["code"]) == (422, "bad-request"), answer.text


@pytest.mark.parametrize("title", ["a\\u0000b", "\\ud83d\\udee9", "a\\nb", "x" * 100, "<script>alert(1)</script>"])
def test_a_plan_with_an_odd_title_is_shown_or_refused(service: Serving, title: str) -> None:
    text = (b'{"title":"%s",' % title.encode()) + _rest(plan_data())
    name = f"title-{next(NAMES)}"
    made = service.http.post(f"/v1/sorties?id={name}", content=text, headers=JSON)
    assert made.status_code in (201, 422), made.text
    if made.status_code == 201:
        page = service.http.get(f"/v1/sorties/{name}/report")
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert service.http.get(f"/v1/sorties/{name}/report?format=pdf").status_code == 200


def _rest(plan: dict[str, object]) -> bytes:
    return orjson.dumps({name: value for name, value in plan.items() if name != "title"})[1:]


QUERIES = [
    "/v1/sorties/{}/events?after=99999999999999999999999999",
    "/v1/sorties/{}/events?after=-2",
    "/v1/sorties/{}/events?run=%00",
    "/v1/sorties/{}/events?run=a%ED%A0%80",
    "/v1/sorties/{}/events?kind=nonsense",
    "/v1/sorties/{}/events?limit=0",
    "/v1/sorties/{}/frames?from=9223372036854775808",
    "/v1/sorties/{}/frames?from=5&to=1",
    "/v1/sorties/{}/frames?max_points=1",
    "/v1/sorties/{}/audit?after=99999999999999999999",
    "/v1/sorties/{}/run-differences?before=a&after=b",
    "/v1/sorties/{}/run-differences?before=%00&after=%FF",
    "/v1/sorties?aircraft=%00",
    "/v1/sorties?aircraft=%FF%FE",
    "/v1/programme?aircraft=%00",
    "/v1/aircraft/%00/beliefs",
    "/v1/aircraft/%2e%2e%2f/beliefs",
    "/v1/recordings/..%2f..%2fetc%2fpasswd",
    "/v1/recordings/%00",
    "/v1/replays/%00",
    "/v1/rehearsals/{}/score",
    "/v1/%FF",
    "/v1/sorties/%FF",
]


@pytest.mark.parametrize("query", QUERIES)
def test_awkward_addresses_are_answered(service: Serving, query: str) -> None:
    sortie = f"query-{next(NAMES)}"
    service.sortie(sortie)
    answer = service.http.get(query.format(sortie))
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        assert answer.json()["detail"].endswith(".")


@pytest.mark.parametrize(
    "last", ["99999999999999999999999999", "-5", "x/y", "run/" + "9" * 5000, "a/1_0", "/", "\u0661"]
)
def test_an_awkward_last_event_id_is_refused_before_anything_is_sent(service: Serving, last: str) -> None:
    sortie = f"last-{next(NAMES)}"
    service.sortie(sortie)
    headers = [(b"accept", b"text/event-stream"), (b"last-event-id", last.encode())]
    answer = service.http.get(f"/v1/sorties/{sortie}/events", headers=headers)
    assert (answer.status_code, answer.json()["code"]) == (422, "bad-last-event-id")
