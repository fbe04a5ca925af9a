"""The examples of the OpenAPI document are taken by the service as they stand."""

from __future__ import annotations

from typing import Any

import jsonschema_rs
import pytest
from tests.serving_thread import Serving

from spinfloor.api.openapi_examples import ANSWERS, BODIES


@pytest.fixture(scope="module")
def sortie(service: Serving) -> str:
    """Made from the example of a plan."""
    plan = BODIES["post", "/v1/sorties"]
    assert service.http.post("/v1/sorties?id=20310507-090000-1a2b", json=plan).status_code == 201
    return "20310507-090000-1a2b"


@pytest.mark.parametrize(("method", "path"), list(BODIES))
def test_bodies(service: Serving, sortie: str, method: str, path: str) -> None:
    published = service.http.get("/openapi.json").json()["paths"][path][method]
    example = published["requestBody"]["content"]["application/json"]["example"]
    assert example == BODIES[method, path]
    here = path.format(sortie=sortie, replay="none", token="none", spin=1, aircraft="none")
    answer = service.http.request(method, here, json=example)
    nothing_there = "{" in path.replace("{sortie}", "") or path == "/v1/session"
    assert answer.is_success or (nothing_there and answer.status_code in (401, 404)), answer.text


def test_every_json_body_has_an_example(service: Serving) -> None:
    paths = service.http.get("/openapi.json").json()["paths"]
    bodies = {(method, path) for path, item in paths.items() for method, operation in item.items()
              if "application/json" in operation.get("requestBody", {}).get("content", {})}  # fmt: skip
    assert bodies == set(BODIES)


@pytest.mark.parametrize(("method", "path"), list(ANSWERS))
def test_answers(service: Serving, method: str, path: str) -> None:
    document = service.http.get("/openapi.json").json()
    content: dict[str, Any] = document["paths"][path][method]["responses"]["200"]["content"]["application/json"]
    jsonschema_rs.validate({**content["schema"], "components": document["components"]}, content["example"])
