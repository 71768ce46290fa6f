"""The log in the data folder: one JSON object a line, with the ids that error pages show.

It holds what happened and to which kind of address, never a code, a cookie, a query, a file's name or art.
"""

from __future__ import annotations

import json
import logging
import logging.handlers
import re
import traceback
from datetime import UTC, datetime
from pathlib import Path

LOGGER = logging.getLogger("lampfold")
_BYTES, _FILES = 1_000_000, 2
# Parts of an address that name a file, a picture, a person or a secret.
_PRIVATE = re.compile(r"^(/api/decks/[^/]+/files|/api/art|/link|/api/links|/api/people(?:/codes)?|/static)/.+$")


def event(what: str, *, level: int = logging.INFO, **facts: str | int) -> None:
    """Note that something happened."""
    LOGGER.log(level, what, extra={"facts": facts})


def shown_path(path: str) -> str:
    """An address without what is private in it."""
    return _PRIVATE.sub(r"\1/...", path)[:200]


class Lines(logging.Formatter):
    """A record as one JSON object."""

    def format(self, record: logging.LogRecord) -> str:
        entry: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(), "what": record.getMessage(), **getattr(record, "facts", {})}
        if record.exc_info and record.exc_info[1] is not None:
            # Where it happened, not what the message holds: messages of decoders and of ours name files.
            error = record.exc_info[1]
            entry["error"] = type(error).__name__
            entry["at"] = [f"{Path(frame.filename).name}:{frame.lineno} {frame.name}"
                           for frame in traceback.extract_tb(error.__traceback__)[-12:]]
        return json.dumps(entry, ensure_ascii=False)


def log_to(path: Path) -> logging.Handler:
    """Write the log to ``path`` from now on; returns the handler, to be closed at the end."""
    handler = logging.handlers.RotatingFileHandler(path, maxBytes=_BYTES, backupCount=_FILES - 1, encoding="utf-8",
                                                   delay=True)
    handler.setFormatter(Lines())
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False  # the window where Lampfold runs is for people
    for logger in (LOGGER, logging.getLogger("uvicorn.error")):
        logger.addHandler(handler)
    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
    logging.getLogger("uvicorn.error").propagate = False
    return handler


def stop(handler: logging.Handler) -> None:
    for logger in (LOGGER, logging.getLogger("uvicorn.error")):
        logger.removeHandler(handler)
        logger.propagate = True
    handler.close()
