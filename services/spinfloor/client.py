"""The typed client of the service: HTTP by httpx, live and frame sockets by websockets.

async with Client("http://127.0.0.1:8000") as client:
    sortie = await client.create_sortie(plan)
    async for message in client.live(sortie["id"]): ...
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from types import TracebackType
from typing import Any, Final, Self
from urllib.parse import quote

import httpx
import msgspec
import numpy as np
import orjson
import websockets
from websockets.asyncio.client import ClientConnection

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap

Record = dict[str, Any]
TIMEOUT_S: Final = 30.0
LONG_S: Final = 900.0  # for archives: a long sortie is written, checked and run through the detector again
AUDIT_PAGE: Final = 5000
MSGPACK: Final = "application/msgpack"
ZIP: Final = "application/zip"


class ServiceError(SpinfloorError):
    """The service refused; `problem` is its problem+json object."""

    code = "service-refused"
    exit_code = 2

    def __init__(self, problem: Mapping[str, Any]) -> None:
        self.problem = dict(problem)
        self.status = int(problem.get("status", 0))
        super().__init__(
            expected=str(problem.get("expected", "the service to accept the request")),
            got=str(problem.get("got", problem.get("detail", "a refusal"))),
            now=str(problem.get("now", "nothing was done")),
            problem_code=problem.get("code"),
        )

    @property
    def sentence(self) -> str:
        """The service's own sentence, where it gave one whole."""
        whole = self.problem.get("detail")
        return super().sentence if whole is None or "got" in self.problem else str(whole)


class UnreachableError(SpinfloorError):
    """No service answers there."""

    code = "unreachable"
    exit_code = 1


class AddressError(SpinfloorError):
    """What was given is no address of a service."""

    code = "bad-address"


def encode_batch(source: str, sequence: int, block: FrameBlock) -> bytes:
    """A batch as MessagePack with packed columns: the quickest form there is to decode."""
    columns = {
        name: np.ascontiguousarray(column, dtype="<i8" if column.dtype == np.int64 else "<f8").tobytes()
        for name, column in block.to_columns().items()
    }
    return msgspec.msgpack.encode({"source": source, "sequence": sequence, "columns": columns})


def _address(base: str) -> str:
    """The address without its last slashes."""
    try:
        url = httpx.URL(base)
    except httpx.InvalidURL:
        url = httpx.URL()
    if url.scheme not in ("http", "https") or not url.host:
        raise AddressError(
            expected="the address of a service, such as http://127.0.0.1:8000", got=base, now="nothing was sent or read"
        )
    return base.rstrip("/")


class Client:
    """One service. Use as an async context manager, or call `close`."""

    def __init__(
        self,
        base: str,
        *,
        token: str | None = None,
        headers: Mapping[str, str] | None = None,
        transport: httpx.AsyncBaseTransport | None = None,
    ) -> None:
        """token: a token's secret. headers: what else goes with every request, e.g. a browser's session.

        Raises AddressError when base is no http or https address.
        """
        self.base = _address(base)
        self._headers = {**(headers or {}), **({"Authorization": f"Bearer {token}"} if token else {})}
        self._http = httpx.AsyncClient(
            base_url=self.base,
            headers=self._headers,
            timeout=TIMEOUT_S,
            transport=transport,
            trust_env=False,
            verify=not self.base.startswith("http:"),  # reading the certificates takes 0.3 s; plain HTTP has none
        )

    @classmethod
    def inside(cls, app: Any, *, headers: Mapping[str, str] | None = None) -> Self:
        """A client of an app (ASGI) in this very process: no socket, certificate or address is needed. No live sockets."""
        return cls("http://127.0.0.1", headers=headers, transport=httpx.ASGITransport(app, raise_app_exceptions=False))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        """End the connections."""
        await self._http.aclose()

    # -- plumbing -------------------------------------------------------------------------------------------------

    async def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        """Any request. Raises ServiceError for a refusal, UnreachableError when nobody answers."""
        try:
            response = await self._http.request(method, path, **options)
        except httpx.TransportError as exc:
            raise UnreachableError(
                expected=f"a service at {self.base}", got=str(exc) or type(exc).__name__, now="nothing was sent or read"
            ) from exc
        if response.is_error:
            raise ServiceError(_problem_of(response))
        return response

    async def get_json(self, path: str, **parameters: Any) -> Record:
        """GET a JSON object; parameters that are None are left out."""
        response = await self.request("GET", path, params=_given(parameters), headers={"Accept": "application/json"})
        return dict(orjson.loads(response.content))

    async def send_json(self, method: str, path: str, body: object = None, **parameters: Any) -> Record:
        """POST, PATCH or DELETE with a JSON body."""
        content = None if body is None else orjson.dumps(body)
        headers = {"Content-Type": "application/json"}
        response = await self.request(method, path, params=_given(parameters), content=content, headers=headers)
        return dict(orjson.loads(response.content))

    # -- sorties --------------------------------------------------------------------------------------------------

    async def ready(self) -> bool:
        """True when the service is ready to take frames."""
        try:
            await self.request("GET", "/readyz")
        except SpinfloorError:
            return False
        return True

    async def create_sortie(
        self, plan: Mapping[str, Any], *, sortie: str | None = None, kind: str = "flight"
    ) -> Record:
        """Create (or find, when id and plan are the same) a sortie."""
        return await self.send_json("POST", "/v1/sorties", dict(plan), id=sortie, kind=kind)

    async def sorties(
        self,
        *,
        aircraft: str | None = None,
        kind: str | None = None,
        before: str | None = None,
        limit: int | None = None,
    ) -> list[Record]:
        """Newest first; kind: "flight" or "rehearsal"; before: those behind this one."""
        answer = await self.get_json("/v1/sorties", aircraft=aircraft, kind=kind, before=before, limit=limit)
        return list(answer["sorties"])

    async def sortie(self, sortie: str) -> Record:
        """One with its plan and sources."""
        return await self.get_json(_at("sorties", sortie))

    async def sources(self, sortie: str) -> list[Record]:
        """How far each source has got."""
        return list((await self.get_json(_at("sorties", sortie, "sources")))["sources"])

    async def channel_map(self, sortie: str) -> ChannelMap | None:
        """The channel map of its plan, which a source needs before it sends."""
        found = (await self.get_json(_at("sorties", sortie, "sources"))).get("channel_map")
        return None if found is None else ChannelMap.model_validate(found)

    async def state(self, sortie: str) -> Record:
        """The state after everything acknowledged."""
        return await self.get_json(_at("sorties", sortie, "state"))

    async def set_floors(self, sortie: str, floors: Mapping[str, Any], *, by: str) -> Record:
        """Move floors."""
        return await self.send_json("PATCH", _at("sorties", sortie, "floors"), {"floors": dict(floors), "by": by})

    async def mark(
        self,
        sortie: str,
        kind: str,
        *,
        by: str = "control room",
        data: Mapping[str, Any] | None = None,
        time_ns: int | None = None,
        key: str | None = None,
    ) -> Record:
        """Journal a mark."""
        body = {"kind": kind, "by": by, "data": dict(data or {}), "time_ns": time_ns, "key": key}
        return await self.send_json("POST", _at("sorties", sortie, "marks"), body)

    # -- frames and events ----------------------------------------------------------------------------------------

    async def send_frames(self, sortie: str, source: str, sequence: int, block: FrameBlock) -> Record:
        """Send a batch; returns the acknowledgement."""
        body = encode_batch(source, sequence, block)
        response = await self.request(
            "POST", _at("sorties", sortie, "frames"), content=body, headers={"Content-Type": MSGPACK}
        )
        return dict(orjson.loads(response.content))

    async def frames(
        self, sortie: str, *, from_ns: int | None = None, to_ns: int | None = None, max_points: int | None = None
    ) -> dict[str, list[Any]]:
        """Contract columns of a stretch, decimated to max_points when given."""
        wanted = {"from": from_ns, "to": to_ns, "max_points": max_points}
        answer = await self.get_json(_at("sorties", sortie, "frames"), **wanted)
        return dict(answer["columns"])

    async def events(
        self, sortie: str, *, after: int = -1, kinds: Sequence[str] | None = None, run: str | None = None
    ) -> list[Record]:
        """Events with sequence > after of a run (None: the current one)."""
        answer = await self.get_json(_at("sorties", sortie, "events"), after=after, kind=kinds or None, run=run)
        return list(answer["events"])

    async def spins(self, sortie: str) -> list[Record]:
        """One row per spin."""
        return list((await self.get_json(_at("sorties", sortie, "spins")))["spins"])

    async def audit(self, sortie: str) -> list[Record]:
        """Who did what, all of it."""
        found: list[Record] = []
        while True:
            after = found[-1]["position"] if found else -1
            page = (await self.get_json(_at("sorties", sortie, "audit"), after=after, limit=AUDIT_PAGE))["records"]
            found += page
            if len(page) < AUDIT_PAGE:
                return found

    async def report(self, sortie: str, *, form: str = "html") -> bytes:
        """The report: html or pdf."""
        return (await self.request("GET", _at("sorties", sortie, "report"), params={"format": form})).content

    async def export(self, sortie: str, what: str, form: str) -> bytes:
        """events, frames or spins as json, ndjson, csv, parquet or arrow."""
        return (await self.request("GET", _at("sorties", sortie, what), params={"format": form})).content

    async def archive(self, sortie: str) -> bytes:
        """The sortie's archive, a zip."""
        return (await self.request("GET", _at("sorties", sortie, "archive"), timeout=LONG_S)).content

    async def import_archive(self, data: bytes, *, sortie: str | None = None, keep_differences: bool = False) -> Record:
        """Import an archive; the answer says whether its events were made again, the same."""
        wanted = _given({"differences": "keep" if keep_differences else "refuse", "id": sortie})
        response = await self.request(
            "POST", "/v1/archives", params=wanted, content=data, headers={"Content-Type": ZIP}, timeout=LONG_S
        )
        return dict(orjson.loads(response.content))

    # -- plans, programme, beliefs --------------------------------------------------------------------------------

    async def check_plan(self, plan: object) -> Record:
        """A plan read and weighed: its faults, or its budget and gate."""
        return await self.send_json("POST", "/v1/plans/check", plan)

    async def programme(self, aircraft: str | None = None) -> Record:
        """An aircraft's programme; without a name, the aircraft there are."""
        return await self.get_json("/v1/programme", aircraft=aircraft)

    async def plan_schema(self) -> Record:
        """JSON Schema of a plan."""
        return await self.get_json("/v1/plan-schema")

    async def rules(self) -> list[Record]:
        """The rules a spin can be judged by."""
        return list((await self.get_json("/v1/rules"))["rules"])

    async def note(self, sortie: str, text: str, *, by: str, spin: int | None = None) -> Record:
        """Add a note to a flown sortie or a spin of it."""
        return await self.send_json("POST", _at("sorties", sortie, "notes"), {"text": text, "by": by, "spin": spin})

    async def sign_off(self, sortie: str, spin: int, *, by: str, reason: str) -> Record:
        """Say why the build-up may go on after a spin with something against it."""
        return await self.send_json(
            "POST", _at("sorties", sortie, "spins", str(spin), "sign-off"), {"by": by, "reason": reason}
        )

    async def runs(self, sortie: str) -> Record:
        """The runs of a sortie and the one in force."""
        return await self.get_json(_at("sorties", sortie, "runs"))

    async def run_differences(self, sortie: str, before: str, after: str) -> Record:
        """What differs between two runs."""
        return await self.get_json(_at("sorties", sortie, "run-differences"), before=before, after=after)

    async def start_rerun(self, **wanted: Any) -> Record:
        """Reprocess: sorties=[...], aircraft=... or all=True; plan={...} changes, beliefs, by. Answers the job."""
        return await self.send_json("POST", "/v1/reruns", wanted)

    async def rerun(self, rerun: str) -> Record:
        """How far a rerun has got."""
        return await self.get_json(_at("reruns", rerun))

    async def reruns(self) -> list[Record]:
        """Reruns at work and the last that have ended."""
        return list((await self.get_json("/v1/reruns"))["reruns"])

    async def cancel_rerun(self, rerun: str) -> Record:
        """End a rerun; what is done stays."""
        return await self.send_json("DELETE", _at("reruns", rerun))

    async def score(self, sortie: str) -> Record:
        """The score sheet of a rehearsal."""
        return await self.get_json(_at("rehearsals", sortie, "score"))

    async def beliefs(self, aircraft: str) -> Record:
        """What has been learnt of an aircraft."""
        return await self.get_json(_at("aircraft", aircraft, "beliefs"))

    async def withdraw(
        self, aircraft: str, *, by: str, reason: str, sortie: str | None = None, spin: int | None = None
    ) -> Record:
        """Take back what one recovery taught, or all of them."""
        body = {"by": by, "reason": reason, "sortie": sortie, "spin": spin}
        return await self.send_json("POST", _at("aircraft", aircraft, "beliefs", "withdrawals"), body)

    async def put_back(
        self, aircraft: str, *, by: str, reason: str, sortie: str | None = None, spin: int | None = None
    ) -> Record:
        """Undo the withdrawal of one recovery, or of all of them."""
        body = {"by": by, "reason": reason, "sortie": sortie, "spin": spin}
        return await self.send_json("POST", _at("aircraft", aircraft, "beliefs", "restorations"), body)

    # -- replays --------------------------------------------------------------------------------------------------

    async def recordings(self) -> list[Record]:
        """What there is to rehearse with."""
        return list((await self.get_json("/v1/recordings"))["recordings"])

    async def recording(self, recording: str) -> Record:
        """One recording with its plan."""
        return await self.get_json(_at("recordings", recording))

    async def replays(self) -> list[Record]:
        """Replays not stopped."""
        return list((await self.get_json("/v1/replays"))["replays"])

    async def replay(self, replay: str) -> Record:
        """One replay."""
        return await self.get_json(_at("replays", replay))

    async def start_replay(self, recording: str, **options: Any) -> Record:
        """Play a recording into a rehearsal sortie."""
        return await self.send_json("POST", "/v1/replays", {"recording": recording, **options})

    async def change_replay(self, replay: str, **changes: Any) -> Record:
        """speed, paused, position_s, faults."""
        return await self.send_json("PATCH", _at("replays", replay), changes)

    async def stop_replay(self, replay: str) -> Record:
        """Stop it; the sortie stays."""
        return await self.send_json("DELETE", _at("replays", replay))

    # -- sockets --------------------------------------------------------------------------------------------------

    @asynccontextmanager
    async def socket(self, path: str) -> AsyncIterator[ClientConnection]:
        """A WebSocket on a path of the service. Raises UnreachableError, ServiceError."""
        url = self.base.replace("http", "ws", 1) + path
        try:
            connection = await websockets.connect(url, additional_headers=self._headers, max_size=None, proxy=None)
        except websockets.InvalidStatus as exc:
            raise ServiceError(_problem_in(exc.response.status_code, bytes(exc.response.body or b""))) from exc
        except (OSError, websockets.InvalidHandshake, TimeoutError) as exc:
            raise UnreachableError(
                expected=f"a service at {self.base}", got=str(exc) or type(exc).__name__, now="nothing was sent or read"
            ) from exc
        try:
            yield connection
        finally:
            await connection.close()

    async def live(self, sortie: str, *, after: int | None = None) -> AsyncIterator[Record]:
        """Live messages until the service ends. Leave it early through `contextlib.aclosing`."""
        query = "" if after is None else f"?after={after}"
        async with self.socket(_at("sorties", sortie, "live") + query) as connection:
            async for text in connection:
                yield orjson.loads(text)


def _at(*parts: str) -> str:
    """A path of the service; each part may be any text."""
    return "/".join(["/v1", *(quote(part, safe="") for part in parts)])


def _given(parameters: Mapping[str, Any]) -> Record:
    """Those that are something; None leaves a parameter out."""
    return {name: value for name, value in parameters.items() if value is not None}


def _problem_of(response: httpx.Response) -> Record:
    return _problem_in(response.status_code, response.content)


def _problem_in(status: int, body: bytes) -> Record:
    try:
        problem = orjson.loads(body)
    except orjson.JSONDecodeError:
        problem = None
    if not isinstance(problem, dict):
        return {"status": status, "detail": f"the answer {status} without a reason", "code": "http-error"}
    return problem
