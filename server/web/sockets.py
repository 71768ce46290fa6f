"""Taking a port before anything is printed, and what is spoken on it: uvicorn's protocol with limits."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import socket
from typing import ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from server.errors import BadValue, StoreTrouble
from server.web.guard import SECURITY_HEADERS

DEFAULT_PORT = 8437
_PORTS_TO_TRY = 50


def listen(port: int | None, *, lan: bool) -> list[socket.socket]:
    """Listening sockets, all on one port: loopback, or every address with ``lan``; IPv4, and IPv6 where it is there.

    ``None`` means the default port, or the next that is free. Raises BadValue where an explicit port can't be had.
    """
    if port is not None and not 0 <= port <= 65535:
        raise BadValue(f"--port: {port} is no port.", "Choose one from 1024 to 65535, or 0 for any that is free.")
    first = DEFAULT_PORT if port is None else port
    tries = range(first, first + (_PORTS_TO_TRY if port is None else 1))
    for number in tries:
        try:
            return _take(number, lan)
        except OSError as error:
            if port is not None:
                raise _port_trouble(port, error) from error
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise StoreTrouble(f"port {number}: can't be listened on ({error.strerror}).",
                                   "Look at the machine's network settings.") from error
    raise BadValue(f"port: {tries[0]} to {tries[-1]} are all in use.", "Choose another with --port.")


def _port_trouble(port: int, error: OSError) -> BadValue:
    why = {errno.EADDRINUSE: "is in use", errno.EACCES: "isn't allowed for this user"}.get(
        error.errno or 0, f"can't be had ({error.strerror})")
    return BadValue(f"--port: {port} {why}.", "Choose another, or leave --port out to take the next that is free.")


def _take(port: int, lan: bool) -> list[socket.socket]:
    taken = [_bound(socket.AF_INET, "0.0.0.0" if lan else "127.0.0.1", port)]
    if socket.has_ipv6:
        number = taken[0].getsockname()[1]
        with contextlib.suppress(OSError):  # a machine without IPv6, or with that port in use there
            taken.append(_bound(socket.AF_INET6, "::" if lan else "::1", number))
    return taken


def _bound(family: int, address: str, port: int) -> socket.socket:
    # With the protocol named, asyncio sends small answers at once (TCP_NODELAY); else each waits some 40 ms for an
    # acknowledgement that the other side holds back.
    taken = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "nt":
            # There SO_REUSEADDR would let two programs share a port (Winsock documentation).
            taken.setsockopt(socket.SOL_SOCKET, getattr(socket, "SO_EXCLUSIVEADDRUSE", ~socket.SO_REUSEADDR), 1)
        else:
            taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            taken.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        taken.bind((address, port))
        taken.listen(256)
        taken.setblocking(False)
    except OSError:
        taken.close()
        raise
    return taken


class PatientProtocol(H11Protocol):
    """Closes a connection whose request line and headers haven't come whole within ``header_seconds``.

    uvicorn itself waits for ever for the first request of a connection and for a request that stops half-way.
    """

    header_seconds: float = 15.0
    most_connections: int = 600
    most_silent: int = 64  # of one address: a browser opens six
    silent: ClassVar[dict[PatientProtocol, str]] = {}  # who has asked for nothing yet, oldest first, by address
    _patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)  # type: ignore[arg-type]  # uvicorn narrows asyncio's own parameter
        address = self.client[0] if self.client else ""
        self._make_room(address)
        if len(self.connections) > self.most_connections:
            self._refuse(503, b"Service Unavailable", "Too many connections; try again in a few seconds.")
        else:
            self.silent[self] = address
            self._wait()

    def _make_room(self, address: str) -> None:
        """Connections that ask for nothing make room for one that may: the oldest of the same address where it has
        many, the oldest of all where all together have too many."""
        own = [one for one, of in self.silent.items() if of == address]
        oldest = own[0] if len(own) >= self.most_silent else None
        if oldest is None and len(self.connections) > self.most_connections:
            oldest = next(iter(self.silent), None)
        if oldest is not None:
            del self.silent[oldest]
            self.connections.discard(oldest)
            oldest.transport.abort()

    def data_received(self, data: bytes) -> None:
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self.silent.pop(self, None)
            self._stop_waiting()
        elif self._is_idle() and self._patience is None:
            self._wait()  # another request has begun on a kept connection

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        self.silent.pop(self, None)
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
                {"header_seconds": header_seconds, "most_connections": most_connections, "silent": {}})
