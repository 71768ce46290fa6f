"""A change that is sent again because its answer was lost is done once: what was answered first is answered again.

A page puts a mark of its own on a change, the same on every try (the header ``Lampfold-Once``). Answers are kept in
memory: a server that was started anew knows none, and whoever sends again then is told what it finds.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.access import is_safe

HEADER = "lampfold-once"
_LONGEST_MARK = 64
_MOST, _MOST_BYTES = 500, 16 * 1024 * 1024
_MAY_PASS = (408, 429)  # and all from 500 on: trying again may do

Key = tuple[str, str, str, bytes, str]
Kept = tuple[Message, ...]


class Once:
    """The layer within the guard, which knows whose request it is."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._under_way: dict[Key, asyncio.Event] = {}
        self._answered: OrderedDict[Key, Kept] = OrderedDict()
        self._bytes = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        key = _key(scope) if scope["type"] == "http" else None
        if key is None:
            await self._app(scope, receive, send)
            return
        while key in self._under_way:
            await self._under_way[key].wait()
        if key in self._answered:
            for message in self._answered[key]:
                await send({**message, "headers": list(message["headers"])} if "headers" in message else message)
            return
        self._under_way[key] = asyncio.Event()
        said: list[Message] = []

        async def keep(message: Message) -> None:
            # The guard adds headers to what passes it.
            said.append({**message, "headers": list(message["headers"])} if "headers" in message else message)
            await send(message)

        try:
            await self._app(scope, receive, keep)
            self._keep(key, tuple(said))
        finally:
            self._under_way.pop(key).set()

    def _keep(self, key: Key, said: Kept) -> None:
        whole = len(said) > 1 and not said[-1].get("more_body", False)
        if not whole or said[0]["status"] >= 500 or said[0]["status"] in _MAY_PASS:
            return
        self._answered[key] = said
        self._bytes += _size(said)
        while len(self._answered) > _MOST or self._bytes > _MOST_BYTES:
            self._bytes -= _size(self._answered.popitem(last=False)[1])


def _key(scope: Scope) -> Key | None:
    """What makes a change the same one: who sends it, where to, and its mark; None for one without."""
    mark, session = Headers(scope=scope).get(HEADER, ""), scope.get("state", {}).get("session")
    if not mark or len(mark) > _LONGEST_MARK or session is None or is_safe(scope["method"]):
        return None
    return session.id, scope["method"], scope["path"], scope["query_string"], mark


def _size(said: Kept) -> int:
    return sum(len(message.get("body", b"")) for message in said)
