"""Who may do what: tokens and browser sessions in three roles."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any, Final

from starlette.requests import HTTPConnection

from spinfloor.api.problems import ProblemError
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import StorageError
from spinfloor.ports.sessions import SessionRecord, SessionStore
from spinfloor.ports.tokens import Role, TokenRecord, TokenStore

COOKIE: Final = "spinfloor_session"
CSRF_HEADER: Final = "x-csrf-token"
SESSION_S: Final = 12 * 3600.0  # one flying day
RECHECK_S: Final = 2.0
SESSIONS_AT_MOST: Final = 10_000
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_GRANTS: Final = {
    Role.SOURCE: frozenset({Role.SOURCE}),
    Role.WATCH: frozenset({Role.WATCH}),
    Role.CONTROL: frozenset({Role.SOURCE, Role.WATCH, Role.CONTROL}),
}


@dataclass(frozen=True, slots=True)
class Caller:
    """Who is asking. name: the token's name, "loopback" where no token is needed."""

    name: str
    role: Role
    token_id: str | None = None


@dataclass(slots=True)
class Authority:
    """Checks credentials against the tokens and sessions kept."""

    tokens: TokenStore
    sessions: SessionStore
    clock: Clock
    required: bool

    async def caller(self, connection: HTTPConnection) -> Caller:
        """Who is asking. Raises ProblemError 401 or 403."""
        if not self.required:
            return Caller("loopback", Role.CONTROL)
        secret = _bearer(connection)
        if secret is not None:
            return await self.by_secret(secret)
        value = connection.cookies.get(COOKIE, "")
        session = await self.sessions.get(hash_of(value)) if value else None
        if session is None or session.expires_ns < self.clock.wall_ns():
            raise _unknown()
        method = connection.scope.get("method", "GET")
        given = connection.headers.get(CSRF_HEADER, "")
        if method not in SAFE_METHODS and not hmac.compare_digest(given.encode(), csrf_of(value).encode()):
            raise ProblemError(
                403,
                "csrf",
                expected=f"the session's {CSRF_HEADER} header with every change",
                got="none or another",
                now="nothing was done",
            )
        return self._caller_of(await self.tokens.get(session.token_id))

    async def by_secret(self, secret: str) -> Caller:
        """The caller of a token's secret `id.random`. Raises ProblemError 401."""
        record = await self.tokens.get(secret.partition(".")[0])
        if record is None or not hmac.compare_digest(record.hash_hex, hash_of(secret)):
            raise _unknown()
        return self._caller_of(record)

    def _caller_of(self, record: TokenRecord | None) -> Caller:
        if record is None or not record.in_force(self.clock.wall_ns()):
            raise _unknown()
        return Caller(record.name, record.role, record.id)

    def signature(self, role: str, caller: Caller) -> str:
        """The crew role somebody gave, with the token it was given under where tokens are asked for."""
        return f"{role} ({caller.name})" if self.required else role

    async def until_revoked(self, caller: Caller) -> None:
        """Return when the caller's token counts no longer; for sockets, which are let in once and stay open.

        A store that can't be asked revokes nothing.
        """
        while True:
            await self.clock.sleep(RECHECK_S)
            if caller.token_id is not None and not await self._still(caller.token_id):
                return

    async def _still(self, token_id: str) -> bool:
        try:
            record = await self.tokens.get(token_id)
        except StorageError:
            return True
        return record is not None and record.in_force(self.clock.wall_ns())

    async def open_session(self, secret: str) -> tuple[str, Caller]:
        """A session for a browser: (cookie value, caller)."""
        caller = await self.by_secret(secret)
        now = self.clock.wall_ns()
        if await self.sessions.sweep(now) >= SESSIONS_AT_MOST:
            raise ProblemError(
                429, "too-many-sessions", expected="fewer sessions", got="too many", now="try again later"
            )
        value = secrets.token_urlsafe(32)
        token_id = secret.partition(".")[0]
        await self.sessions.put(SessionRecord(hash_of(value), token_id, now, now + int(SESSION_S * 1e9)))
        return value, caller

    async def end_session(self, value: str) -> None:
        """Forget a session."""
        await self.sessions.remove(hash_of(value))


def csrf_of(value: str) -> str:
    """What a change must carry besides the cookie: made from the cookie's value, which no page can read.

    Nothing has to be kept for it, and any page of the service can ask for it; a page from elsewhere can read neither.
    """
    return hmac.new(value.encode(), b"spinfloor csrf", hashlib.sha256).hexdigest()


def hash_of(secret: str) -> str:
    """What is kept of a secret (hex)."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _bearer(connection: HTTPConnection) -> str | None:
    scheme, _, secret = connection.headers.get("authorization", "").partition(" ")
    return secret.strip() if scheme.lower() == "bearer" and secret else None


def _unknown() -> ProblemError:
    return ProblemError(
        401,
        "who-are-you",
        expected="a token in force (Authorization: Bearer ...) or a session",
        got="none, or one that is unknown, expired or revoked",
        now="nothing was done",
    )


def make_token(name: str, role: Role, *, now_ns: int, lasts_s: float = 0.0) -> tuple[str, TokenRecord]:
    """(secret to hand over once, record to keep)."""
    identity = secrets.token_hex(6)
    secret = f"{identity}.{secrets.token_urlsafe(32)}"
    expires = now_ns + int(lasts_s * 1e9) if lasts_s else 0
    return secret, TokenRecord(identity, name, role, hash_of(secret), now_ns, expires)


def needs(*roles: Role) -> Callable[[HTTPConnection], Coroutine[Any, Any, Caller]]:
    """A dependency: the caller, who must hold one of the roles."""

    async def check(connection: HTTPConnection) -> Caller:
        authority: Authority = connection.app.state.services.authority
        caller = await authority.caller(connection)
        if _GRANTS[caller.role].isdisjoint(roles):
            raise ProblemError(
                403,
                "role",
                expected=f"the role {' or '.join(role.value for role in roles)}",
                got=f"a token with the role {caller.role.value}",
                now="nothing was done",
            )
        return caller

    return check
