"""Reading request bodies that are not FastAPI's own models."""

from __future__ import annotations

from typing import Annotated, Any

import orjson
from pydantic import AfterValidator
from starlette.requests import Request

from spinfloor.api.problems import ProblemError
from spinfloor.core.plan.load import parse_plan
from spinfloor.core.plan.model import Plan


def _storable(data: dict[str, Any]) -> dict[str, Any]:
    """JSON that every reader takes back. json.loads lets more through than JSON has."""
    try:
        as_read = orjson.loads(orjson.dumps(data))
    except (TypeError, orjson.JSONDecodeError) as exc:
        raise ValueError("numbers of at most 64 bits, Unicode text and nesting no deeper than needed") from exc
    if as_read != data:
        raise ValueError("numbers that are neither NaN nor infinite")
    return data


StorableObject = Annotated[dict[str, Any], AfterValidator(_storable)]


def media_type(request: Request) -> str:
    """The Content-Type without its parameters, lower case; empty when there is none."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


async def json_body(request: Request) -> Any:
    """Any JSON value. Raises ProblemError 422."""
    try:
        return orjson.loads(await request.body())
    except orjson.JSONDecodeError as exc:
        raise ProblemError(
            422, "bad-json", expected="a JSON document", got=str(exc)[:200], now="nothing was done"
        ) from exc


async def plan_body(request: Request) -> Plan | Any:
    """The plan of `named_plan_body`."""
    return (await named_plan_body(request))[0]


async def named_plan_body(request: Request) -> tuple[Plan | Any, Any]:
    """A plan as YAML text (checked), or what a JSON body holds: a plan or `{"plan": plan, "id": id}`, yet unchecked;
    and the id, None when there is none.

    What is not said to be JSON and does not begin like it is YAML.
    """
    kind, body = media_type(request), await request.body()
    if "yaml" in kind or ("json" not in kind and not body.lstrip().startswith(b"{")):
        try:
            return parse_plan(body.decode()), None
        except UnicodeDecodeError as exc:
            raise ProblemError(
                422, "bad-yaml", expected="a YAML document in UTF-8", got="other bytes", now="nothing was done"
            ) from exc
    data = await json_body(request)
    if isinstance(data, dict) and "plan" in data and data.keys() <= {"plan", "id"}:
        return data["plan"], data.get("id")
    return data, None
