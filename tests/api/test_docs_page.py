"""The page that explains the API: whole, without a script, and without a request to anywhere else."""

from __future__ import annotations

import re

from tests.serving_thread import Serving

from spinfloor.api.docs_page import docs_page


def test_every_route_and_object_is_there_and_every_link_leads_somewhere(service: Serving) -> None:
    document = service.http.get("/openapi.json").json()
    page = service.http.get("/docs").text
    for path, item in document["paths"].items():
        for method in item:
            assert f">{method.upper()} {path}</h3>" in page
    for name in document["components"]["schemas"]:
        assert f'<details id="{name}">' in page
    links = re.findall(r'href="#([^"]+)"', page)
    assert len(links) > 10
    assert set(links) <= set(re.findall(r'id="([^"]+)"', page))
    assert "buffet heavy" in page  # an example


def test_nothing_comes_from_elsewhere_and_nothing_runs(service: Serving) -> None:
    answer = service.http.get("/docs")
    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "<script" not in answer.text
    assert re.findall(r'(?:src|href)="(?!#|/openapi\.json)', answer.text) == []
    assert "@import" not in answer.text
    assert "url(" not in answer.text


def test_texts_of_the_document_are_no_markup() -> None:
    evil = "<img src=x onerror=alert(1)>"
    page = docs_page(
        {
            "info": {"title": evil, "version": evil, "description": evil},
            "components": {"schemas": {evil: {"description": evil, "type": evil}}},
            "paths": {
                evil: {
                    "get": {
                        "tags": [evil],
                        "operationId": evil,
                        "description": evil,
                        "parameters": [{"name": evil, "in": evil, "schema": {"type": evil, "pattern": evil}}],
                        "requestBody": {"content": {evil: {"schema": {"enum": [evil]}, "example": evil}}},
                        "responses": {"200" + evil: {"content": {evil: {"schema": {"type": evil}}}}},
                    }
                }
            },
        }
    )
    assert "<img" not in page
    assert page.count("&lt;img") >= 14
