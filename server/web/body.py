"""A request's body as it comes in: counted against its limit, and never waited for longer than the host allows."""

from __future__ import annotations

import asyncio
import contextlib
import time

from starlette.datastructures import Headers
from starlette.types import Message, Receive

from server.errors import TooMuch
from server.store.limits import bytes_text

# A body may pause for `body_seconds`; on the whole it must come at least this fast, or a slow sender holds a place
# for ever. 8 KiB a second is slower than any network that a browser is used on.
_LEAST_BYTES_A_SECOND = 8192
# What is left of a refused body is thrown away for so long, so that the sender gets to read the answer.
_DRAIN_BYTES, _DRAIN_SECONDS = 256 * 1024, 2.0


class SlowBody(Exception):
    """The body has stopped coming."""


class Body:
    """Stands in for ``receive``. Raises TooMuch over ``limit_bytes``, SlowBody where the body stalls or crawls."""

    def __init__(self, receive: Receive, headers: Headers, limit_bytes: int, label: str, pause_seconds: float) -> None:
        self._receive, self._limit, self._label, self._pause = receive, limit_bytes, label, pause_seconds
        self._begun = time.monotonic()
        self.size = 0
        # A request has a body if it says so (RFC 9112, 6).
        self.finished = headers.get("content-length", "0") == "0" and "transfer-encoding" not in headers

    async def __call__(self) -> Message:
        if self.finished:
            return await self._receive()  # only the news of a disconnect can follow, and a stream waits for that
        try:
            message = await asyncio.wait_for(self._receive(), self._pause)
        except TimeoutError:
            raise SlowBody from None
        if message["type"] != "http.request":
            self.finished = True
            return message
        self.size += len(message.get("body", b""))
        self.finished = not message.get("more_body", False)
        if self.size > self._limit:
            raise too_large(self._label, self._limit)
        spent = time.monotonic() - self._begun
        if not self.finished and spent > self._pause and self.size < (spent - self._pause) * _LEAST_BYTES_A_SECOND:
            raise SlowBody
        return message

    async def drain(self) -> None:
        """Throw away a little of what is still coming."""
        left, end = _DRAIN_BYTES, time.monotonic() + _DRAIN_SECONDS
        with contextlib.suppress(TimeoutError):
            while not self.finished and left > 0 and (seconds := end - time.monotonic()) > 0:
                message = await asyncio.wait_for(self._receive(), seconds)
                left -= len(message.get("body", b""))
                self.finished = message["type"] != "http.request" or not message.get("more_body", False)


def too_large(label: str, limit_bytes: int) -> TooMuch:
    return TooMuch(f"{label}: is over {bytes_text(limit_bytes)}, the limit of this host.",
                   "Export it smaller, or raise the host's limit.")
