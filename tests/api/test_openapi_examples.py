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
    answer = service.http.request(method, path.format(sortie=sortie), json=example)
    assert answer.is_success, answer.text


@pytest.mark.parametrize(("method", "path"), list(ANSWERS))
def test_answers(service: Serving, method: str, path: str) -> None:
    document = service.http.get("/openapi.json").json()
    content: dict[str, Any] = document["paths"][path][method]["responses"]["200"]["content"]["application/json"]
    jsonschema_rs.validate({**content["schema"], "components": document["components"]}, content["example"])
