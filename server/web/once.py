"""A change that is sent again because its answer was lost is done once: what was answered first is answered again.

A page puts a mark of its own on a change, the same on every try (the header ``Lampfold-Once``). Answers are kept in
memory, and in the database beside what they changed, so that a server that was started anew knows them too.
"""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections import OrderedDict
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.errors import StoreTrouble
from server.store.database import CHANGE
from server.store.done import Done
from server.web.access import is_safe

HEADER = "lampfold-once"
_LONGEST_MARK = 64
_MOST, _MOST_BYTES = 500, 16 * 1024 * 1024
_MAY_PASS = (408, 429)  # and all from 500 on: trying again may do
# Not those that begin work, which ends with the server and is begun again by the next one; nor what is no API.
_LASTS = re.compile(r"^/api/(?!.*/(builds|releases|change-sheet)$)")
# What these answer lets somebody in, and the database alone lets no one in.
_LETS_IN = re.compile(r"^/api/(links|people)\b")
_LOST = {"message": "This was done, but Lampfold stopped before it could say so.",
         "fix": "Load the page again to see it."}

Kept = tuple[Message, ...]


class Once:
    """The layer within the guard, which knows whose request it is."""

    def __init__(self, app: ASGIApp, done: Done) -> None:
        self._app, self._done = app, done
        self._under_way: dict[str, asyncio.Event] = {}
        self._answered: OrderedDict[str, Kept] = OrderedDict()
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
                await send(_copied(message))
            return
        self._under_way[key] = asyncio.Event()
        try:
            await self._do(key, scope, receive, send)
        finally:
            self._under_way.pop(key).set()

    async def _do(self, key: str, scope: Scope, receive: Receive, send: Send) -> None:
        """Do it, unless a server of before did."""
        lasting = _LASTS.search(scope["path"]) is not None
        known, answer = await run_in_threadpool(self._done.find, key) if lasting else (False, None)
        said: list[Message] = []

        async def keep(message: Message) -> None:
            said.append(_copied(message))
            await send(message)

        if answer is not None:
            await keep({"type": "http.response.start", "status": answer.status, "headers": list(answer.headers)})
            await keep({"type": "http.response.body", "body": answer.body, "more_body": False})
        elif known:
            await JSONResponse(_LOST, 409)(scope, receive, keep)
        else:
            change = CHANGE.set(key if lasting else "")
            try:
                await self._app(scope, receive, keep)
            finally:
                CHANGE.reset(change)
        if self._keep(key, tuple(said)) and lasting and not known and not _LETS_IN.search(scope["path"]):
            body = b"".join(message.get("body", b"") for message in said[1:])
            try:
                await run_in_threadpool(self._done.answered, key, said[0]["status"], said[0]["headers"], body)
            except StoreTrouble:  # the change is kept, and answered; whoever sends it again is told so
                return

    def _keep(self, key: str, said: Kept) -> bool:
        """Whether this is an answer to give again."""
        whole = len(said) > 1 and not said[-1].get("more_body", False)
        if not whole or said[0]["status"] >= 500 or said[0]["status"] in _MAY_PASS:
            return False
        self._answered[key] = said
        self._bytes += _size(said)
        while len(self._answered) > _MOST or self._bytes > _MOST_BYTES:
            self._bytes -= _size(self._answered.popitem(last=False)[1])
        return True


def _key(scope: Scope) -> str | None:
    """What makes a change the same one: who sends it, where to, and its mark; None for one without."""
    mark, session = Headers(scope=scope).get(HEADER, ""), scope.get("state", {}).get("session")
    if not mark or len(mark) > _LONGEST_MARK or session is None or is_safe(scope["method"]):
        return None
    same: list[Any] = [session.id, scope["method"], scope["path"], scope["query_string"].decode("latin-1"), mark]
    return hashlib.sha256(repr(same).encode()).hexdigest()


def _copied(message: Message) -> Message:
    """The guard adds headers to what passes it."""
    return {**message, "headers": list(message["headers"])} if "headers" in message else message


def _size(said: Kept) -> int:
    return sum(len(message.get("body", b"")) for message in said)
