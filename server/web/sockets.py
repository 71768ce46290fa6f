"""Taking a port before anything is printed: the address that people see is the one that is listened on."""

from __future__ import annotations

import contextlib
import errno
import os
import socket

from server.errors import BadValue, StoreTrouble

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
