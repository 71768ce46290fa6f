"""uvicorn's HTTP protocol with what it lacks: a limit on how long headers may take, and headers on its own 400."""

from __future__ import annotations

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from server.web.guard import SECURITY_HEADERS


class PatientProtocol(H11Protocol):
    """Closes a connection whose request line and headers haven't come whole within ``header_seconds``.

    uvicorn itself waits for ever for the first request of a connection and for a request that stops half-way.
    """

    header_seconds: float = 15.0
    most_connections: int = 600
    _patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)  # type: ignore[arg-type]  # uvicorn narrows asyncio's own parameter
        if len(self.connections) > self.most_connections:
            self._refuse(503, b"Service Unavailable", "Too many connections; try again in a few seconds.")
        else:
            self._wait()

    def data_received(self, data: bytes) -> None:
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self._stop_waiting()
        elif self._is_idle() and self._patience is None:
            self._wait()  # another request has begun on a kept connection

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """uvicorn's answer to what is no HTTP, with our headers."""
        self._refuse(400, b"Bad Request", msg)

    def _refuse(self, status: int, reason: bytes, text: str) -> None:
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close"),
                       (b"cache-control", b"no-store"), (b"retry-after", b"5")]
            headers += [(name.encode(), value.encode()) for name, value in SECURITY_HEADERS.items()]
            for event in (h11.Response(status_code=status, headers=headers, reason=reason),
                          h11.Data(data=text.encode("ascii", "replace")), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _is_idle(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _wait(self) -> None:
        self._stop_waiting()
        self._patience = self.loop.call_later(self.header_seconds, self._give_up)

    def _stop_waiting(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _give_up(self) -> None:
        self._patience = None
        if not self.transport.is_closing():
            self.transport.abort()


def protocol_class(header_seconds: float, most_connections: int) -> type[PatientProtocol]:
    """The protocol with these limits: uvicorn makes its protocols from a class alone."""
    return type("LampfoldProtocol", (PatientProtocol,),
                {"header_seconds": header_seconds, "most_connections": most_connections})
