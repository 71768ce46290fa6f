"""What stands before every route: the host's name, the origin, the session, the body's size, and the headers.

Pure ASGI, so that all of it happens before a byte of a body is read, and covers whatever the app answers.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import secrets
import time
from http.cookies import CookieError, SimpleCookie
from urllib.parse import unquote

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.errors import LampfoldError, TooMuch
from server.store.guests import Session
from server.store.limits import Limits, bytes_text
from server.web.access import People, cookie_name, is_open, is_safe, may
from server.web.answers import Answers, SlowBody, is_api, status_of
from server.web.hosts import Hosts
from server.web.logbook import LOGGER, event, shown_path

# A body may pause for `body_seconds`; on the whole it must come at least this fast, or a slow sender holds a place
# for ever. 8 KiB a second is slower than any network that a browser is used on.
_LEAST_BYTES_A_SECOND = 8192
# What is left of a refused body is thrown away for so long, so that the sender gets to read the answer.
_DRAIN_BYTES, _DRAIN_SECONDS = 256 * 1024, 2.0


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


SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; "
        "form-action 'self'"),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
# A browser sends some 20 headers and 2 kB; the protocol checks bytes only where they come in bits.
_MOST_HEADERS, MOST_HEADER_BYTES = 100, 16 * 1024
_FILE = re.compile(r"/api/decks/[^/]+/files/(.+)")
_EXTRA = re.compile(r"/api/decks/[^/]+/releases/extras/(.+)")
_ARCHIVE = re.compile(r"/api/decks/[^/]+/archive")
_NUDGE = "/api/nudge"
_READ = re.compile(r"/api/read|/api/decks/[^/]+/glow/read")
# What tells of a whole deck or folder may be long, a printer with its readings too; all else is a form.
_LONG = re.compile(r"/api/decks/[^/]+(/missing|/compare|/folder)?|/api/printers(/.*)?|/api/fit")
_FORM_BYTES = 64 * 1024


class Guard:
    """The outermost layer of the app."""

    def __init__(self, app: ASGIApp, people: People, hosts: Hosts, limits: Limits, answers: Answers) -> None:
        self._app, self._people, self._hosts = app, people, hosts
        self._limits, self._answers = limits, answers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)  # lifespan; websockets are switched off
            return
        label, limit = self._body_limit(scope)
        body = Body(receive, Headers(scope=scope), limit, label, self._limits.body_seconds)
        answer = _Answer(send, body, "no-cache" if scope["path"].startswith("/static/") else "no-store")
        try:
            refused = self._refusal(scope, label, limit)
            await (refused or self._app)(scope, body, answer)
        except ClientDisconnect:
            event("client left", method=scope["method"], path=shown_path(scope["path"]))
        except SlowBody:
            event("body stopped", method=scope["method"], path=shown_path(scope["path"]))
            await self._tell(scope, body, answer, 408, "The request stopped coming.", "Send it again.")
        except LampfoldError as error:
            await self._tell(scope, body, answer, status_of(error), error.message, error.fix)
        except Exception:
            error_id = secrets.token_hex(4)
            LOGGER.exception("failed", extra={"facts": {"id": error_id, "method": scope["method"],
                                                        "path": shown_path(scope["path"])}})
            await self._tell(scope, body, answer, 500, "Something went wrong here.",
                             "Try again; if it happens again, tell the host the number.", error_id)

    async def _tell(self, scope: Scope, body: Body, answer: _Answer, status: int, message: str, fix: str,
                    error_id: str | None = None) -> None:
        if answer.started:
            raise ConnectionAbortedError(message)  # too late to say anything: the connection is closed
        await self._answers.refusal(scope["path"], status, message, fix, error_id=error_id)(scope, body, answer)

    def _refusal(self, scope: Scope, label: str, limit: int) -> Response | None:
        """The answer to a request that goes no further; None lets it through. Sets the session in the scope."""
        headers, method, path = Headers(scope=scope), scope["method"], scope["path"]
        if len(headers.raw) > _MOST_HEADERS or sum(len(n) + len(v) for n, v in headers.raw) > MOST_HEADER_BYTES:
            return self._answers.refusal(path, 431, "The request has more headers than any browser sends.",
                                         "Clear this site's cookies, then try again.")
        hosts = headers.getlist("host")
        reached_at = str((scope.get("server") or ("",))[0])
        if len(hosts) != 1 or not self._hosts.serves(hosts[0], reached_at):
            event("host refused", path=shown_path(path))
            return self._answers.refusal(path, 421, "This server doesn't answer to that name.",
                                         "Use the address that Lampfold printed when it started.")
        if not is_safe(method) and not self._hosts.is_own_origin(headers.get("origin", ""), reached_at):
            event("origin refused", method=method, path=shown_path(path))
            return self._answers.refusal(path, 403, "Changes are taken from Lampfold's own pages only.",
                                         "Open the page from the address that Lampfold printed.")
        session = self._session(headers)
        scope.setdefault("state", {})["session"] = session
        if not is_open(path):
            if session is None:
                return self._stranger(path)
            if not may(session, method, path):
                who, way = (("A phone that came by a desk's code reads photographs, and no more than that.",
                             "For more, join with a code that the host sees.") if session.phone
                            else (f"A {session.role} may not do that.", "Ask the host."))
                return self._answers.refusal(path, 403, who, way)
        return self._length_refusal(headers, path, label, limit)

    def _session(self, headers: Headers) -> Session | None:
        cookies: SimpleCookie = SimpleCookie()
        with contextlib.suppress(CookieError):
            cookies.load(headers.get("cookie", ""))
        morsel = cookies.get(cookie_name(self._hosts.port))
        return self._people.find(morsel.value) if morsel else None

    def _stranger(self, path: str) -> Response:
        if self._hosts.lan and not is_api(path):
            return RedirectResponse("/join", 303)
        way = ("Join with the code that the host sees." if self._hosts.lan
               else "Open the address that Lampfold printed when it started.")
        return self._answers.refusal(path, 401, "You aren't in yet.", way)

    def _length_refusal(self, headers: Headers, path: str, label: str, limit: int) -> Response | None:
        length = headers.get("content-length")
        if length is not None and int(length) > limit:  # the protocol has refused what is no number
            error = too_large(label, limit)
            return self._answers.refusal(path, 413, error.message, error.fix)
        if length is None and _is_upload(path) and headers.get("transfer-encoding"):
            return self._answers.refusal(path, 411, f"{label}: its length wasn't given.", "Send Content-Length.")
        return None

    def _body_limit(self, scope: Scope) -> tuple[str, int]:
        """(what to call the body in messages, bytes that it may have)."""
        path = scope["path"]
        file = _FILE.fullmatch(path)
        if file and scope["method"] == "PUT":
            return unquote(file[1])[-200:], self._limits.file_bytes
        extra = _EXTRA.fullmatch(path)
        if extra and scope["method"] == "PUT":
            return unquote(extra[1])[-200:], self._limits.extra_bytes
        if _ARCHIVE.fullmatch(path):
            return "archive", self._limits.archive_bytes
        if path == _NUDGE or _READ.fullmatch(path):
            return "PDF" if path == _NUDGE else "picture", self._limits.file_bytes
        long = _LONG.fullmatch(path)
        return "request", self._limits.json_bytes if long else min(self._limits.json_bytes, _FORM_BYTES)


class _Answer:
    """Stands in for ``send``: adds the headers, and closes the connection where a body was left unread."""

    def __init__(self, send: Send, body: Body, cache: str) -> None:
        """``cache``: what a cache may do where the app says nothing; static files are asked after each time."""
        self._send, self._body, self._cache = send, body, cache
        self.started = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", self._cache)
            if not self._body.finished:
                headers["connection"] = "close"
        elif message["type"] == "http.response.body" and not message.get("more_body") and not self._body.finished:
            # The answer is out before the rest of the body is thrown away; closing at once would reset the
            # connection, and the sender would never read why.
            await self._send({**message, "more_body": True})
            await self._body.drain()
            message = {"type": "http.response.body", "body": b""}
        await self._send(message)


def _is_upload(path: str) -> bool:
    return path == _NUDGE or any(one.fullmatch(path) for one in (_READ, _FILE, _EXTRA, _ARCHIVE))
