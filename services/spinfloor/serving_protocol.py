"""Connections that say nothing: closed after a while, and never more of them than the service can hold."""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import ClassVar, Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from spinfloor.api.problems import ProblemError, problem_response, record_of
from spinfloor.api.refusals import headers_too_large, no_request
from spinfloor.api.settings import Settings

READ_AWAY_S: Final = 1.0


class PatientProtocol(HttpToolsProtocol):
    """uvicorn's HTTP protocol with a limit on the time a request's headers may take and on open connections.

    Without it a peer that opens connections and sends nothing (or half a line) holds each of them for good.
    """

    headers_within_s: ClassVar[float]
    open_at_most: ClassVar[int]
    max_headers: ClassVar[int]
    _in_request = False  # between its headers and the end of its body
    _refused = False
    _head_bytes = 0
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """One more, or one too many."""
        super().connection_made(transport)
        if len(self.connections) > self.open_at_most:
            transport.abort()
        else:
            self._expect()

    def data_received(self, data: bytes) -> None:
        """A new request on a connection that is kept alive has its time as well."""
        if self._refused:
            return
        if not self._in_request and self._deadline is None:
            self._expect()
        super().data_received(data)
        if self._deadline is not None and not self._refused and not self.transport.is_closing():
            self._head_bytes += len(data)
            if self._head_bytes > self.max_headers:
                self._refuse(headers_too_large(self.max_headers))

    def on_headers_complete(self) -> None:
        """In time. Those that came whole, in one packet, are measured here."""
        self._expected()
        if len(self.url) + sum(len(name) + len(value) + 4 for name, value in self.headers) > self.max_headers:
            self._refuse(headers_too_large(self.max_headers))
            raise ValueError("refused")  # ends the parsing of this packet
        self._in_request = True
        super().on_headers_complete()

    def send_400_response(self, msg: str) -> None:
        """What is no HTTP gets a problem too; not after another answer of our own."""
        if not self._refused:
            self._answer(no_request())
            self.transport.close()

    def on_message_complete(self) -> None:
        """What comes now is the next request."""
        self._in_request = False
        super().on_message_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing more to wait for."""
        self._expected()
        super().connection_lost(exc)

    def _expect(self) -> None:
        self._deadline = self.loop.call_later(self.headers_within_s, self._give_up)

    def _expected(self) -> None:
        self._head_bytes = 0
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _refuse(self, error: ProblemError) -> None:
        """Answer without the app, which has not been told of the request yet."""
        self._answer(error)
        if self.transport.can_write_eof():
            self.transport.write_eof()
        self._expected()
        self._deadline = self.loop.call_later(READ_AWAY_S, self._give_up)  # so that the peer reads the answer first

    def _answer(self, error: ProblemError) -> None:
        answer = problem_response(record_of(error), {"Connection": "close"})
        lines = [b"HTTP/1.1 %d %s" % (answer.status_code, HTTPStatus(answer.status_code).phrase.encode())]
        lines += [name + b": " + value for name, value in answer.raw_headers]
        self.transport.write(b"\r\n".join([*lines, b"", bytes(answer.body)]))
        self._refused = True

    def _give_up(self) -> None:
        self._deadline = None
        if not self.transport.is_closing():
            self.transport.abort()


def patient_protocol(settings: Settings) -> type[PatientProtocol]:
    """The protocol with a service's limits; twice as many connections as requests, for those kept alive."""
    limits = {
        "headers_within_s": settings.headers_within_s,
        "open_at_most": 2 * settings.max_connections,
        "max_headers": settings.max_headers,
    }
    return type("PatientProtocol", (PatientProtocol,), limits)
