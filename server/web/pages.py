"""The pages' templates and what every page knows."""

from __future__ import annotations

from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, TemplateNotFound, select_autoescape
from markupsafe import escape

from server import __version__
from server.resources import shipped

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
