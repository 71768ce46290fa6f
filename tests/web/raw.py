"""A client that speaks HTTP byte by byte, to say what no library would."""

from __future__ import annotations

import socket
from dataclasses import dataclass

from tests.web.live import LiveServer


@dataclass(frozen=True)
class Heard:
    """What came back: status 0 where the server closed without a word."""

    status: int
    headers: dict[str, str]
    body: bytes


class Talk:
    """One connection."""

    def __init__(self, server: LiveServer, seconds: float = 20) -> None:
        self.socket = socket.create_connection(("127.0.0.1", server.port), timeout=seconds)

    def say(self, content: bytes | str) -> None:
        self.socket.sendall(content.encode("latin-1") if isinstance(content, str) else content)

    def hear(self) -> Heard:
        """Everything until the server closes or the announced length is there."""
        got = b""
        while b"\r\n\r\n" not in got:
            some = self._some()
            if not some:
                return Heard(0, {}, got)
            got += some
        head, _, body = got.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines[1:])}
        length = int(headers.get("content-length", "-1"))
        while length < 0 or len(body) < length:
            some = self._some()
            if not some:
                break
            body += some
        return Heard(int(lines[0].split()[1]), headers, body)

    def is_closed(self) -> bool:
        """Waits until the server has closed, for as long as the socket's timeout."""
        while self._some():
            pass
        return True

    def _some(self) -> bytes:
        try:
            return self.socket.recv(65536)
        except ConnectionError:
            return b""

    def __enter__(self) -> Talk:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()


def ask(server: LiveServer, content: bytes | str, seconds: float = 20) -> Heard:
    """Say one thing, hear the answer."""
    with Talk(server, seconds) as talk:
        talk.say(content)
        return talk.hear()


def cookie(server: LiveServer) -> str:
    """A Cookie header's value that is in as host."""
    return "; ".join(f"{name}={value}" for name, value in server.client().cookies.items())
