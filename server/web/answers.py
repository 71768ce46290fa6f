"""Errors as answers, JSON for the API and a page for people in the same words; and the templates of pages."""

from __future__ import annotations

import logging
import secrets
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from jinja2 import Environment, FileSystemLoader, StrictUndefined, TemplateNotFound, select_autoescape
from markupsafe import escape
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from server import __version__
from server.core.setting import GROUPS
from server.core.settings import SETTINGS
from server.errors import (
    BadValue,
    Busy,
    Conflict,
    LampfoldError,
    NoRoom,
    NotArt,
    NotThere,
    Refused,
    Stopped,
    StoreTrouble,
    TooMuch,
)
from server.resources import shipped
from server.web.logbook import event, shown_path


class SlowBody(Exception):
    """The body has stopped coming."""


_BARE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Lampfold</title></head>
<body><h1>{message}</h1><p>{fix}</p>{number}</body></html>
"""


class Pages:
    """Renders ``templates/``. Everything is escaped; a name that a template misspells is an error, not a blank."""

    def __init__(self, *, lan: bool = False) -> None:
        self._lan = lan
        self._environment = Environment(
            loader=FileSystemLoader(shipped("templates"), encoding="utf-8"), autoescape=select_autoescape(default=True),
            undefined=StrictUndefined, trim_blocks=False)
        self._environment.globals.update(settings=SETTINGS, setting_groups=GROUPS)  # the form follows from their table

    def page(self, template: str, **context: Any) -> str:
        """A page. Every template gets ``page``, ``deck`` (a summary or None), ``person``, ``lan`` and ``version``."""
        known = {"page": "", "deck": None, "person": None, "lan": self._lan, "version": __version__}
        return self._environment.get_template(template).render({**known, **context})

    def error(self, status: int, message: str, fix: str, error_id: str | None) -> str:
        """The error page; bare where its template can't be drawn, because an error must always be told."""
        try:
            return self.page("error.html", status=status, message=message, fix=fix, error_id=error_id)
        except TemplateNotFound:
            number = f"<p>Error {escape(error_id)}</p>" if error_id else ""
            return _BARE.format(message=escape(message), fix=escape(fix), number=number)


# First match wins, so a class stands before its parent.
_STATUS: tuple[tuple[type[LampfoldError], int], ...] = (
    (TooMuch, 413), (NotArt, 415), (BadValue, 422), (NotThere, 404), (Conflict, 409), (Refused, 403), (Busy, 503),
    (NoRoom, 507), (StoreTrouble, 503), (Stopped, 422),
)
_KNOWN_PHRASES = {
    404: ("There is no such page.", "Go to the Desk."),
    405: ("This address doesn't take that method.", "See /api/openapi.json."),
}


def status_of(error: LampfoldError) -> int:
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 422)


def is_api(path: str) -> bool:
    return path.startswith("/api/")


class Answers:
    """Makes error responses. ``pages`` draws the page for people."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages

    def refusal(self, path: str, status: int, message: str, fix: str = "", *, error_id: str | None = None,
                field: str | None = None, headers: dict[str, str] | None = None) -> Response:
        """One error, as the address asks for it."""
        if is_api(path):
            body: dict[str, Any] = {"message": message, "fix": fix, "field": field, "id": error_id}
            return JSONResponse(body, status, headers)
        text = self._pages.error(status, message, fix, error_id)
        return HTMLResponse(text, status, headers)

    async def known(self, request: Request, error: Exception) -> Response:
        """Our own errors: each class has its status."""
        assert isinstance(error, LampfoldError)
        path, headers, error_id = request.scope["path"], {}, None
        if isinstance(error, Busy):
            headers["Retry-After"] = str(error.wait_seconds)
        if isinstance(error, StoreTrouble):
            error_id = secrets.token_hex(4)
            event("store trouble", level=logging.ERROR, id=error_id, kind=type(error).__name__,
                  cause=type(error.__cause__).__name__, path=shown_path(path))
        return self.refusal(path, status_of(error), error.message, error.fix, field=_field(error), headers=headers,
                            error_id=error_id)

    async def http(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        # FastAPI turns whatever comes up while it reads a body into a 400; what it was is told instead.
        if isinstance(error.__cause__, LampfoldError):
            return await self.known(request, error.__cause__)
        if isinstance(error.__cause__, SlowBody):
            raise error.__cause__
        message, fix = _KNOWN_PHRASES.get(error.status_code, (str(error.detail), ""))
        headers = dict(error.headers) if error.headers else None
        return self.refusal(request.scope["path"], error.status_code, message, fix, headers=headers)

    async def invalid(self, request: Request, error: Exception) -> Response:
        """A body or an address that doesn't have the form that the schema says."""
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        own = first.get("ctx", {}).get("error")
        if isinstance(own, LampfoldError):
            return await self.known(request, own)
        where = ".".join(str(part) for part in first["loc"] if part != "body")[:200]
        return self.refusal(request.scope["path"], 422, f"{where or 'body'}: {first['msg']}.",
                            "See /api/openapi.json for what is taken.", field=where or None)


def _field(error: LampfoldError) -> str | None:
    """The setting that the message begins with, so that a form can put the words beside it."""
    name = error.message.partition(":")[0]
    return name if isinstance(error, BadValue) and name in SETTINGS else None
