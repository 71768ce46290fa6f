"""Which role may ask for what. One table, read by the guard before a body is read."""

from __future__ import annotations

import re
from collections.abc import Iterable

from server.core.settings import OWN_PRINTING, SETTINGS
from server.errors import Refused
from server.web.people import Session

# Reached without a session: nothing of any deck is in them.
_OPEN = re.compile(r"/health|/static/.*|/favicon\.ico|/welcome|/join|/link/[^/]+")
_HOST_ONLY = re.compile(r"/api/(people|links)(/.*)?|/people")
_SAFE = frozenset(("GET", "HEAD", "OPTIONS"))
_DECK = r"[0-9a-f]{1,64}"
# A playtester sees the deck's Glow and build page and gets its PDFs, and changes nothing.
_PLAYTESTER: tuple[tuple[frozenset[str], re.Pattern[str]], ...] = (
    (_SAFE, re.compile(r"/|/true-up|/api/(decks|demo|tables|me|openapi\.json|art/.+|jobs/.+|printers(/.*)?"
                       r"|test-sheet.*|nudge/.+)")),
    (_SAFE, re.compile(rf"/decks/({_DECK})/(glow|output|true-up)|/api/decks/({_DECK})(/guide|/glow(/.*)?)?")),
    (frozenset(("POST",)), re.compile(rf"/api/decks/({_DECK})/(plan|builds|glow(/.*)?)")),
    (frozenset(("POST",)), re.compile(r"/api/fit")),  # keeps nothing
    (frozenset(("DELETE",)), re.compile(r"/api/jobs/[^/]+")),
)
_IN_DECK = re.compile(rf"/(?:api/)?decks/({_DECK})(?:/.*)?")


def is_open(path: str) -> bool:
    """Whether anyone may ask for this path."""
    return _OPEN.fullmatch(path) is not None


def is_safe(method: str) -> bool:
    """Whether a method changes nothing (RFC 9110, 9.2.1)."""
    return method in _SAFE


def may(session: Session, method: str, path: str) -> bool:
    """Whether this person may ask for this. The host may all; a maker all but who else is in."""
    if session.role == "host":
        return True
    if _HOST_ONLY.fullmatch(path):
        return False
    if session.role == "maker":
        return True
    deck = _IN_DECK.fullmatch(path)
    if session.deck_id and deck and deck[1] != session.deck_id:
        return False
    return any(method in methods and pattern.fullmatch(path) for methods, pattern in _PLAYTESTER)


def check_changes(session: Session, settings: Iterable[str]) -> None:
    """Raises Refused where these settings are not for this person to change, even for one answer or one build: a
    playtester chooses what belongs to the printer and the paper at hand, and nothing of the deck."""
    if session.role == "playtester" and not all(SETTINGS[name].own_printing for name in settings if name in SETTINGS):
        raise Refused("A playtester chooses how to print, and nothing else of a deck.",
                      f"Settings for that are {', '.join(OWN_PRINTING)}.")
