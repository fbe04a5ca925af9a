"""The OpenAPI document: what FastAPI finds, plus the bodies, answers and problems it can't see."""

from __future__ import annotations

from typing import Any, Final

from fastapi import FastAPI

from spinfloor.api.auth import COOKIE
from spinfloor.api.openapi_examples import exemplify
from spinfloor.api.openapi_parts import (
    BATCH_BODY,
    BYTES,
    COMPONENTS,
    EVENT_STREAM,
    OBJECT,
    PLAN_BODY,
    Schema,
    exports_of,
    json_of,
    list_of,
    record,
    ref,
)

_OPEN: Final = frozenset({"/healthz", "/readyz", "/v1", "/v1/session"})
_METHODS: Final = frozenset({"get", "put", "post", "patch", "delete"})
_LEFT_OUT: Final = ("HTTPValidationError", "ValidationError")  # FastAPI's own error form, which is never sent

_SORTIE: Final = json_of(ref("Sortie"))
_REPLAY: Final = json_of(ref("Replay"))
_STATES: Final = list_of({"allOf": [ref("Sortie"), record({"state": {"type": ["object", "null"]}})]})

BODIES: Final[dict[tuple[str, str], Schema]] = {
    ("post", "/v1/sorties"): PLAN_BODY,
    ("post", "/v1/plans/check"): PLAN_BODY,
    ("post", "/v1/sorties/{sortie}/frames"): BATCH_BODY,
    ("post", "/v1/archives"): {"required": True, "content": {"application/zip": {"schema": BYTES}}},
}
# Content of the good answers; any other operation answers with a JSON object.
ANSWERS: Final[dict[tuple[str, str], Schema]] = {
    ("get", "/metrics"): {"text/plain": {"schema": {"type": "string"}}},
    ("post", "/v1/sorties"): _SORTIE,
    ("get", "/v1/sorties"): json_of(record({"sorties": _STATES})),
    ("get", "/v1/sorties/{sortie}"): _SORTIE,
    ("get", "/v1/sorties/{sortie}/sources"): json_of(
        record({"sources": list_of(ref("Source")), "channel_map": {"type": ["object", "null"]}})
    ),
    ("get", "/v1/sorties/{sortie}/state"): json_of(ref("State")),
    ("post", "/v1/sorties/{sortie}/frames"): json_of(ref("Acknowledgement")),
    ("get", "/v1/sorties/{sortie}/frames"): exports_of(ref("Frames")),
    ("get", "/v1/sorties/{sortie}/events"): {
        **exports_of(ref("EventPage")),
        EVENT_STREAM: {"schema": {"type": "string"}},
    },
    ("get", "/v1/sorties/{sortie}/spins"): exports_of(record({"spins": list_of(OBJECT)})),
    ("get", "/v1/sorties/{sortie}/archive"): {"application/zip": {"schema": BYTES}},
    ("get", "/v1/sorties/{sortie}/report"): {
        "text/html": {"schema": {"type": "string"}},
        "application/pdf": {"schema": BYTES},
    },
    ("get", "/v1/replays"): json_of(record({"replays": list_of(ref("Replay"))})),
    ("post", "/v1/replays"): _REPLAY,
    ("get", "/v1/replays/{replay}"): _REPLAY,
    ("patch", "/v1/replays/{replay}"): _REPLAY,
    ("delete", "/v1/replays/{replay}"): _REPLAY,
}
# Sent again, these find what is there already.
_AGAIN: Final = {
    ("post", "/v1/sorties"): "The same sortie with the same plan is there already.",
    ("post", "/v1/sorties/{sortie}/marks"): "A mark with this key is there already.",
}


def describe(app: FastAPI) -> None:
    """Let the app publish the completed document."""
    found = app.openapi

    def completed() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = complete(found())
        return app.openapi_schema

    app.openapi = completed  # type: ignore[method-assign]  # how FastAPI wants it done


def complete(document: dict[str, Any]) -> dict[str, Any]:
    """FastAPI's document with bodies, answers, problems and the ways to say who one is."""
    parts = document.setdefault("components", {})
    schemas = parts.setdefault("schemas", {})
    for name in _LEFT_OUT:
        schemas.pop(name, None)
    schemas.update(COMPONENTS)
    parts["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer"},
        "session": {"type": "apiKey", "in": "cookie", "name": COOKIE},
    }
    for path, item in document["paths"].items():
        for method in _METHODS & item.keys():
            _complete_operation(method, path, item[method])
    return document


def _complete_operation(method: str, path: str, operation: dict[str, Any]) -> None:
    key = (method, path)
    if key in BODIES:
        operation["requestBody"] = BODIES[key]
    if path not in _OPEN:
        operation["security"] = [{"token": []}, {"session": []}, {}]
    answers = {status: answer for status, answer in operation["responses"].items() if status.startswith("2")}
    for answer in answers.values():
        answer["content"] = ANSWERS.get(key, json_of(OBJECT))
    if key in _AGAIN:
        answers["200"] = {"description": _AGAIN[key], "content": ANSWERS.get(key, json_of(OBJECT))}
    problem = {"application/problem+json": {"schema": ref("Problem")}}
    answers["4XX"] = {"description": "Refused; nothing was done.", "content": problem}
    answers["503"] = {"description": "Not available now; nothing was acknowledged.", "content": problem}
    operation["responses"] = answers
    exemplify(method, path, operation)
