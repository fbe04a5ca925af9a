"""Requests made from the published OpenAPI document, in its form and out of it, against the running service.

schemathesis (an independent reader of OpenAPI 3.1) makes the requests and checks the answers: no 5xx, only documented
statuses and media types, bodies that fit their schema. SPINFLOOR_EXAMPLES (`make fuzz-api`) asks for more of them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from tests.serving_thread import NAME, Serving, frames, serving

from spinfloor.api.openapi import complete
from spinfloor.api.routes import ROUTERS
from spinfloor.client import encode_batch

schemathesis.serializer.alias("application/zip", "application/octet-stream")

EXAMPLES = int(os.environ.get("SPINFLOOR_EXAMPLES", "4"))
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
METHODS = ("get", "post", "patch", "delete")


def _document() -> dict[str, Any]:
    app = FastAPI(title="spinfloor", version="0")
    for router in ROUTERS:
        app.include_router(router)
    return complete(app.openapi())


DOCUMENT = _document()
OPERATIONS = [(method, path) for path, item in DOCUMENT["paths"].items() for method in METHODS if method in item]
SCHEMA = schemathesis.openapi.from_dict(DOCUMENT)


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A service with a sortie that has flown and a rehearsal, so that well-formed requests find something."""
    with serving(tmp_path_factory.mktemp("flown")) as running:
        running.sortie("flown")
        body = encode_batch("s", 0, frames())
        running.http.post("/v1/sorties/flown/frames", content=body, headers={"Content-Type": "application/msgpack"})
        played = running.http.post("/v1/replays", json={"recording": NAME, "sortie": "played", "paused": True})
        assert played.status_code == 201
        KNOWN.update(replay=played.json()["id"], recording=NAME, aircraft=_aircraft(running), spin=1)
        yield running


KNOWN: dict[str, Any] = {"sortie": "flown"}


def _aircraft(running: Serving) -> str:
    name: str = running.http.get("/v1/sorties/flown").json()["aircraft"]
    return name


def test_every_route_is_in_the_document_and_no_more(flown: Serving) -> None:
    published = flown.http.get("/openapi.json").json()
    assert published["paths"] == DOCUMENT["paths"]
    assert published["components"]["schemas"] == DOCUMENT["components"]["schemas"]


@pytest.mark.parametrize(("method", "path"), OPERATIONS, ids=[f"{m} {p}" for m, p in OPERATIONS])
def test_no_request_gets_a_5xx_or_an_undocumented_answer(flown: Serving, method: str, path: str) -> None:
    operation = SCHEMA[path][method.upper()]
    cases = st.one_of(*(operation.as_strategy(generation_mode=mode) for mode in GenerationMode))

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize="SPINFLOOR_EXAMPLES" not in os.environ,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases, known=st.booleans())
    def ask(case: Any, known: bool) -> None:
        if known:
            case.path_parameters = {k: KNOWN.get(k, v) for k, v in (case.path_parameters or {}).items()}
        answer = case.call(base_url=flown.base, timeout=60.0)
        case.validate_response(answer, checks=CHECKS)
        if answer.status_code >= 400 and method != "head":
            sentence = answer.json()["detail"]
            assert sentence.endswith(".")
            assert "\n" not in sentence
            assert "Traceback" not in sentence

    ask()
