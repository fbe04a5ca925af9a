"""Errors as `application/problem+json` (RFC 9457): every error the API gives, whatever raised it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

import orjson
import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError, WebSocketRequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.plan.load import fault_of

log = structlog.get_logger("spinfloor.api")

LONGEST_SENTENCE: Final = 1_000
MOST_TOLD: Final = 10  # faults in the sentence; the record has all

_TITLES: Final = {
    400: "Bad request",
    401: "Who are you?",
    403: "Not allowed",
    404: "Not found",
    405: "Method not allowed",
    406: "Not available in that form",
    408: "Too slow",
    409: "Conflict",
    413: "Too large",
    415: "Unknown media type",
    422: "Not understood",
    429: "Too much at once",
    431: "Headers too large",
    500: "Our fault",
    503: "Not available now",
}


class ProblemError(SpinfloorError):
    """An error of the API itself, with the status it is answered with."""

    def __init__(self, status: int, code: str, *, expected: str, got: str, now: str, **fields: object) -> None:
        super().__init__(expected=expected, got=got, now=now, **fields)
        self.status = status
        self.problem_code = code


def record_of(error: SpinfloorError) -> dict[str, Any]:
    """The problem object of one of our errors."""
    status = error.status if isinstance(error, ProblemError) else error.http_status
    code = error.problem_code if isinstance(error, ProblemError) else error.code
    return problem_record(status, code, error.sentence, **{k: v for k, v in error.as_record().items() if k != "code"})


def problem_record(status: int, code: str, detail: str, **fields: object) -> dict[str, Any]:
    """type, title, status, detail as RFC 9457 names them, our stable code, and the error's own fields."""
    return {
        "type": f"urn:spinfloor:problem:{code}",
        "title": _TITLES.get(status, "Error"),
        "status": status,
        "detail": _one_line(detail),
        "code": code,
        **fields,
    }


def _one_line(detail: str) -> str:
    """What was sent may be quoted in it: no line breaks, nothing endless; the end says what happens now."""
    line = " ".join(detail.split())
    return (
        line if len(line) <= LONGEST_SENTENCE else f"{line[: LONGEST_SENTENCE // 2]} … {line[-LONGEST_SENTENCE // 2 :]}"
    )


def _json(record: dict[str, Any]) -> bytes:
    try:
        return orjson.dumps(record, default=str, option=orjson.OPT_NON_STR_KEYS)
    except TypeError:  # a lone surrogate or a number beyond 64 bits that was sent is quoted
        return json.dumps(record, default=str).encode()


def problem_response(record: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    """A problem object as a response."""
    body = _json(record)
    extra = dict(headers or {})
    if record["status"] in (429, 503):
        extra.setdefault("Retry-After", str(record.get("retry_after_s", 1)))
    if record["status"] == 401:
        extra.setdefault("WWW-Authenticate", "Bearer")
    return Response(body, status_code=record["status"], media_type="application/problem+json", headers=extra)


def install(app: FastAPI) -> None:
    """Answer every error of the app as a problem."""
    app.add_exception_handler(SpinfloorError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(WebSocketRequestValidationError, _validation)
    app.add_exception_handler(Exception, _defect)


async def _ours(_request: Request, error: Exception) -> Response:
    assert isinstance(error, SpinfloorError)
    return problem_response(record_of(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {
        400: "Expected a JSON document in the body; got bytes that can't be read as one; nothing was done.",
        404: f"Expected a path of this service; got {request.url.path}; nothing was done.",
    }
    codes = {400: "bad-json", 404: "unknown-path"}
    other = f"Expected a request this service takes; got one it does not ({error.detail}); nothing was done."
    detail = words.get(error.status_code, other)
    code = codes.get(error.status_code, "http-error")
    return problem_response(problem_record(error.status_code, code, detail), dict(error.headers or {}))


def wrong_method(request: Request, allowed: Sequence[str]) -> Response:
    """405; allowed: every method this path has."""
    detail = f"Expected another method than {request.method} on {request.url.path}; nothing was done."
    return problem_response(problem_record(405, "wrong-method", detail), {"Allow": ", ".join(allowed)})


async def _validation(_request: Request, error: Exception) -> Response:
    """Of a request and of a WebSocket's address, which is refused before it is opened."""
    assert isinstance(error, RequestValidationError | WebSocketRequestValidationError)
    found = error.errors()
    for fault in found:
        if fault["type"] == "json_invalid":
            detail = f"Expected a JSON document in the body; got {fault['ctx']['error']}; nothing was done."
            return problem_response(problem_record(422, "bad-json", detail))
    faults = [fault_of(fault) for fault in found]
    sentences = "; ".join(fault.sentence for fault in faults[:MOST_TOLD])
    detail = f"Expected a request without faults; got {len(faults)}: {sentences}; nothing was done."
    return problem_response(problem_record(422, "bad-request", detail, faults=[fault.as_record() for fault in faults]))


async def _defect(request: Request, error: Exception) -> Response:
    log.error("defect", path=request.url.path, error=repr(error), exc_info=error)
    detail = "Expected to answer; this is a defect of spinfloor; it was logged and nothing is known to be lost."
    return problem_response(problem_record(500, "defect", detail))
