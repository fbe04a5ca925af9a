"""Frames in and out over real sockets: acknowledged, repeated, refused row by row or as a whole."""

from __future__ import annotations

import io
import itertools
import math
from typing import Any

import msgspec
import numpy as np
import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.serving_thread import Serving, frames

from spinfloor.client import encode_batch

NAMES = itertools.count()
MSGPACK = {"Content-Type": "application/msgpack"}
JSON = {"Content-Type": "application/json"}
PARQUET = {"Content-Type": "application/vnd.apache.parquet"}


@pytest.fixture
def sortie(service: Serving) -> str:
    return service.sortie(f"frames-{next(NAMES)}")


def columns(rows: int = 3, **changes: Any) -> dict[str, Any]:
    """A few good rows in the contract's columns."""
    base = {
        "time_ns": [1_000_000_000 + 10_000_000 * i for i in range(rows)],
        "roll_rate_dps": [1.0] * rows,
        "pitch_rate_dps": [2.0] * rows,
        "yaw_rate_dps": [3.0] * rows,
        "pressure_altitude_ft": [10_000.0] * rows,
    }
    return {name: value for name, value in {**base, **changes}.items() if value is not None}


def batch(sequence: int = 0, **changes: Any) -> bytes:
    return orjson.dumps({"source": "test", "sequence": sequence, "columns": columns(**changes)})


def test_a_batch_is_acknowledged_and_a_repeated_one_changes_nothing(service: Serving, sortie: str) -> None:
    first = service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(), headers=JSON)
    again = service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(), headers=JSON)
    assert first.json() == {"acked": 0, "accepted": 3, "duplicates": 0, "rejected": []}
    assert again.json() == {"acked": 0, "accepted": 0, "duplicates": 3, "rejected": []}
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 3


def test_other_frames_under_a_number_that_is_taken_are_not_acknowledged(service: Serving, sortie: str) -> None:
    address = f"/v1/sorties/{sortie}/frames"
    with_a_hole = {"alpha_deg": [1.0, None, 2.0]}
    others = ({"yaw_rate_dps": [3.0, 3.0, 4.0]}, {"rows": 2, "alpha_deg": [1.0, None]}, {"time_ns": [1, 2, 3]})
    for number, changes in enumerate(({}, with_a_hole)):
        first = service.http.post(address, content=batch(number, **changes), headers=JSON)
        again = service.http.post(address, content=batch(number, **changes), headers=JSON)
        assert (first.status_code, again.status_code, again.json()["duplicates"]) == (200, 200, 3)
        for other in others:
            refused = service.http.post(address, content=batch(number, **{**changes, **other}), headers=JSON)
            assert (refused.status_code, refused.json()["code"]) == (409, "sequence-taken")
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 6


def test_json_messagepack_parquet_and_arrow_put_the_same_frames_on_disk(service: Serving) -> None:
    block = frames().slice(0, 50)
    edge = block.to_columns()
    table = pa.table({name: pa.array(column) for name, column in edge.items()})
    parquet, arrow = io.BytesIO(), io.BytesIO()
    pq.write_table(table, parquet)
    with pa.ipc.new_stream(arrow, table.schema) as stream:
        stream.write_table(table)
    as_json = orjson.dumps(
        {
            "source": "s",
            "sequence": 0,
            "columns": {n: [None if v != v else v for v in c.tolist()] for n, c in edge.items()},
        }
    )
    bodies = {
        "json": ("", as_json, JSON),
        "msgpack": ("", encode_batch("s", 0, block), MSGPACK),
        "parquet": ("?source=s&sequence=0", parquet.getvalue(), PARQUET),
        "parquet by another name": (
            "?source=s&sequence=0",
            parquet.getvalue(),
            {"Content-Type": "application/parquet"},
        ),
        "arrow": (
            "?source=s&sequence=0",
            arrow.getvalue(),
            {"Content-Type": "application/vnd.apache.arrow.stream"},
        ),
    }
    seen = set()
    for form, (query, body, headers) in bodies.items():
        name = service.sortie(f"form-{form.replace(' ', '-')}")
        answer = service.http.post(f"/v1/sorties/{name}/frames{query}", content=body, headers=headers)
        assert answer.json() == {"acked": 0, "accepted": 50, "duplicates": 0, "rejected": []}
        seen.add(service.http.get(f"/v1/sorties/{name}/frames").content)
    assert len(seen) == 1


def test_nan_in_json_is_a_missing_value(service: Serving, sortie: str) -> None:
    for number, missing in enumerate((b"null", b"NaN", b"Infinity", b"-Infinity")):
        times = [10**9 * (number + 1) + 10_000_000 * i for i in range(3)]
        body = batch(number, time_ns=times, alpha_deg=[5.0, -1.0, 6.0], yaw_rate_dps=[3.0, 3.0, -1.0])
        answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=body.replace(b"-1.0", missing), headers=JSON)
        reported = [{"row": 2, "reason": "no value in yaw_rate_dps", "kept": True}]
        assert answer.json() == {"acked": number, "accepted": 2, "duplicates": 0, "rejected": reported}
    back = service.http.get(f"/v1/sorties/{sortie}/frames").json()["columns"]["alpha_deg"]
    assert back == [5.0, None, 6.0] * 4


# What is wrong, how it is sent, and words the sentence must have.
BAD = {
    "wrong unit name": (batch(roll_rate_dps=None, roll_rate_rps=[1.0] * 3), JSON, 422, "roll_rate_rps"),
    "missing column": (batch(yaw_rate_dps=None), JSON, 422, "yaw_rate_dps"),
    "text for a number": (batch(yaw_rate_dps=["1", "2", "3"]), JSON, 422, "`str` instead of `int | float | null`"),
    "a column at fault": (batch(yaw_rate_dps=[1.0, True, 2.0]), JSON, 422, "in 'yaw_rate_dps'"),
    "the same, packed": (msgspec.msgpack.encode(orjson.loads(batch(yaw_rate_dps=["a"]))), MSGPACK, 422, "yaw_rate_dps"),
    "NaN as text": (batch(yaw_rate_dps=["NaN", 1.0, 2.0]), JSON, 422, "in 'yaw_rate_dps'"),
    "NaN as the sequence": (b'{"source":"a","sequence":NaN,"columns":{}}', JSON, 422, "JSON"),
    "lengths differ": (batch(yaw_rate_dps=[1.0]), JSON, 422, "3 values"),
    "fractional time": (batch(time_ns=[1.5, 2.5, 3.5]), JSON, 422, "whole nanoseconds"),
    "a number beyond any": (batch().replace(b"2.0", b"1" + b"0" * 400, 1), JSON, 422, "64 bits"),
    "no source": (orjson.dumps({"sequence": 0, "columns": columns()}), JSON, 422, "source"),
    "negative sequence": (batch(sequence=-1), JSON, 422, "sequence"),
    "not JSON": (b"{", JSON, 422, "JSON"),
    "empty": (b"", JSON, 422, "JSON"),
    "random bytes": (bytes(range(256)), MSGPACK, 422, "MessagePack"),
    "truncated Parquet": (b"PAR1" + bytes(200), PARQUET, 422, "Parquet"),
    "unknown media type": (b"x", {"Content-Type": "text/plain"}, 415, "text/plain"),
    "compressed": (b"\x1f\x8b", {**JSON, "Content-Encoding": "gzip"}, 415, "'gzip'"),
    "deep nesting": (b"[" * 100_000, JSON, 422, "JSON"),
    "50 MB": (bytes(50_000_000), JSON, 413, "body"),
}


@pytest.mark.parametrize("what", BAD)
def test_bad_input_gets_a_problem_with_one_clear_sentence(service: Serving, sortie: str, what: str) -> None:
    body, headers, status, words = BAD[what]
    path = f"/v1/sorties/{sortie}/frames" + ("?source=s&sequence=0" if headers is PARQUET else "")
    answer = service.http.post(path, content=body, headers=headers)
    problem = answer.json()
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert words in problem["detail"]
    assert problem["detail"].count(".") >= 1
    assert "Traceback" not in answer.text
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 0


def test_a_body_without_a_length_is_cut_off_at_the_limit(service: Serving, sortie: str) -> None:
    def endless() -> Any:
        for _ in range(50):
            yield bytes(1_000_000)

    answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=endless(), headers=JSON)
    assert (answer.status_code, answer.json()["code"]) == (413, "too-large")


def test_an_unknown_sortie_is_a_404(service: Serving) -> None:
    answer = service.http.post("/v1/sorties/nobody/frames", content=batch(), headers=JSON)
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown-sortie")


@pytest.mark.parametrize(
    ("changes", "rejected"),
    [
        ({"roll_rate_dps": [1.0, None, 1.0]}, [(1, "roll_rate_dps", True)]),
        ({"time_ns": [30, 20, 40]}, [(1, "rise", True)]),
        ({"time_ns": [10, None, 40]}, [(1, "time_ns", False)]),
        ({"time_ns": [-5, 20, 40]}, [(0, "time_ns", False)]),
        ({"time_ns": None, "time_s": [0.1, None, 0.3]}, [(1, "time_ns", False)]),
    ],
)
def test_a_bad_row_is_named_and_the_others_count(
    service: Serving, sortie: str, changes: dict[str, Any], rejected: list[tuple[int, str, bool]]
) -> None:
    answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(**changes), headers=JSON).json()
    assert answer["accepted"] == 3 - len(rejected)
    assert [(r["row"], r["kept"]) for r in answer["rejected"]] == [(row, kept) for row, _, kept in rejected]
    for told, (_, words, _kept) in zip(answer["rejected"], rejected, strict=True):
        assert words in told["reason"]


def test_time_running_backwards_between_batches_and_gaps_in_the_sequence_are_told(
    service: Serving, sortie: str
) -> None:
    service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(0), headers=JSON)
    answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(5), headers=JSON).json()
    assert answer["gap"] == {"first_missing": 1, "last_missing": 4}
    assert [r["row"] for r in answer["rejected"]] == [0, 1, 2]


def test_every_row_is_accepted_repeated_or_rejected_once(service: Serving, sortie: str) -> None:
    rows: dict[str, Any] = {"time_ns": [1, 2, 2, None, 1, 3], "yaw_rate_dps": [3.0, None, None, 3.0, 3.0, 3.0]}
    rest: dict[str, Any] = {name: [1.0] * 6 for name in ("roll_rate_dps", "pitch_rate_dps", "pressure_altitude_ft")}
    answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=batch(**rows, **rest), headers=JSON).json()
    assert [r["row"] for r in answer["rejected"]] == [1, 2, 3, 4]
    assert answer["accepted"] == 2


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.binary(max_size=300), kind=st.sampled_from([JSON, MSGPACK, PARQUET]))
def test_random_bytes_never_make_a_5xx(service: Serving, sortie: str, body: bytes, kind: dict[str, str]) -> None:
    answer = service.http.post(f"/v1/sorties/{sortie}/frames?source=s&sequence=0", content=body, headers=kind)
    assert 400 <= answer.status_code < 500
    assert answer.headers["content-type"] == "application/problem+json"


_VALUES = st.one_of(st.none(), st.floats(), st.integers(), st.booleans(), st.text(max_size=3), st.binary(max_size=16))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.dictionaries(
        st.sampled_from([*columns(), "alpha_deg", "event_marker"]), st.lists(_VALUES, max_size=4) | _VALUES, max_size=3
    ),
    sequence=st.integers(min_value=-2, max_value=2**64),
)
def test_no_well_formed_nonsense_makes_a_5xx(
    service: Serving, sortie: str, changes: dict[str, Any], sequence: int
) -> None:
    try:
        body = msgspec.msgpack.encode({"source": "h", "sequence": sequence, "columns": {**columns(), **changes}})
    except OverflowError:
        return
    answer = service.http.post(f"/v1/sorties/{sortie}/frames", content=body, headers=MSGPACK)
    assert answer.status_code in (200, 409, 422), answer.text  # 409: other frames under a number taken before


def test_decimated_frames_keep_every_peak(service: Serving, sortie: str) -> None:
    block = frames()
    service.http.post(f"/v1/sorties/{sortie}/frames", content=encode_batch("s", 0, block), headers=MSGPACK)
    whole = service.http.get(f"/v1/sorties/{sortie}/frames").json()["columns"]
    few = service.http.get(f"/v1/sorties/{sortie}/frames?max_points=200").json()["columns"]
    assert len(few["time_ns"]) <= 200
    assert few["time_ns"] == sorted(few["time_ns"])
    for name, column in whole.items():
        if name != "time_ns":
            values = [v for v in column if v is not None]
            kept = [v for v in few[name] if v is not None]
            assert (max(kept), min(kept)) == (max(values), min(values))


def test_time_that_runs_backwards_makes_no_more_points_than_asked_for(service: Serving, sortie: str) -> None:
    block = frames()
    for sequence, first in enumerate((200, 100, 300, 0)):
        body = encode_batch("s", sequence, block.slice(first, first + 100))
        service.http.post(f"/v1/sorties/{sortie}/frames", content=body, headers=MSGPACK)
    for points in (4, 10, 50):
        few = service.http.get(f"/v1/sorties/{sortie}/frames?max_points={points}").json()["columns"]
        assert 2 <= len(few["time_ns"]) <= points


def test_a_stretch_is_asked_for_in_nanoseconds_or_as_an_instant(service: Serving) -> None:
    name, start = service.sortie("instants"), 1_900_000_000_000_000_000  # 2030-03-17T17:46:40Z
    times = [start + i * 100_000_000 for i in range(20)]
    body = {"time_ns": times, **{name: [0.0] * 20 for name in ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps")},
            "pressure_altitude_ft": [9000.0] * 20}  # fmt: skip
    service.http.post(f"/v1/sorties/{name}/frames", json={"source": "a", "sequence": 0, "columns": body})
    for stretch, expected in (
        ({"from": times[5], "to": times[15]}, times[5:15]),
        ({"from": "2030-03-17T17:46:40.5Z", "to": "2030-03-17 17:46:41.5"}, times[5:15]),
        ({"from": "2030-03-17T18:46:40.5+01:00", "to": "2030-03-17T13:46:41.5-04:00"}, times[5:15]),
        ({"from": -1, "to": 2**63}, times),
        ({"from": 2**70}, []),
    ):
        found = service.http.get(f"/v1/sorties/{name}/frames", params=stretch).json()["columns"]["time_ns"]
        assert found == expected, stretch
    plain = service.http.get(f"/v1/sorties/{name}/frames?from=2030-03-17T18:46:40.5+01:00")  # a + that is a space
    assert plain.json()["columns"]["time_ns"] == times[5:]
    empty = service.http.get(f"/v1/sorties/{name}/frames?from=&to=&max_points=")
    assert empty.json()["columns"]["time_ns"] == times
    for wrong in ("soon", "1.5e18", "2030-13-01"):
        refused = service.http.get(f"/v1/sorties/{name}/frames", params={"from": wrong})
        assert (refused.status_code, "2030-05-07T09:00:00Z" in refused.json()["detail"]) == (422, True), wrong


def test_a_stretch_is_cut_out_by_time(service: Serving, sortie: str) -> None:
    block = frames()
    service.http.post(f"/v1/sorties/{sortie}/frames", content=encode_batch("s", 0, block), headers=MSGPACK)
    low, high = int(block.time_ns[100]), int(block.time_ns[200])
    got = service.http.get(f"/v1/sorties/{sortie}/frames", params={"from": low, "to": high}).json()["columns"]
    assert got["time_ns"] == block.time_ns[100:200].tolist()
    sent = np.asarray(got["yaw_rate_dps"])
    np.testing.assert_allclose(sent, block.slice(100, 200).to_columns()["yaw_rate_dps"], rtol=1e-12)
    assert not any(math.isnan(v) for v in sent)
