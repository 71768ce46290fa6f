"""Who is in: sessions, codes and links, how one starts, and what each role may ask for."""

from __future__ import annotations

import ipaddress
import re
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from datetime import timedelta

from server.core.settings import OWN_PRINTING, SETTINGS
from server.errors import Busy, NotThere, Refused
from server.store.database import now_text
from server.store.guests import Role, Session, Sessions, mark_of


def cookie_name(port: int) -> str:
    """Cookies are shared by all ports of a name (RFC 6265, 8.5), so each port has its own."""
    return f"lampfold-{port}"


_MOST_SESSIONS = 200
PHONE_MINUTES = 30


class People:
    """Every live session, and the one-time tokens that start the host's own."""

    def __init__(self, sessions: Sessions, on_token_spent: Callable[[], object] = lambda: None) -> None:
        """``on_token_spent`` is called when a launch token has been used, so that the launcher can show a new one."""
        self._kept = sessions
        self.on_token_spent = on_token_spent
        self._lock = threading.Lock()
        self._sessions = sessions.live()
        self._tokens: set[str] = set()

    def new_token(self) -> str:
        """A secret for one address that lets the host in once."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._tokens.add(mark_of(token))
        return token

    def spend_token(self, token: str) -> bool:
        """True for a token that is good; it is spent by that."""
        mark = mark_of(token)
        with self._lock:
            good = mark in self._tokens
            self._tokens.discard(mark)
        if good:
            self.on_token_spent()
        return good

    def start(self, role: Role, name: str, address: str, deck_id: str | None = None,
              link_id: str | None = None, *, phone: bool = False) -> tuple[str, Session]:
        """A new session and the cookie that stands for it, kept before it is handed out; a phone's is not kept."""
        cookie, now = secrets.token_urlsafe(32), now_text()
        session = Session(secrets.token_hex(6), role, name, address, deck_id, link_id, now, now, phone)
        if not phone:
            self._kept.add(mark_of(cookie), session)
        with self._lock:
            self._sessions[mark_of(cookie)] = session
        return cookie, session

    def find(self, cookie: str) -> Session | None:
        """The live session of a cookie."""
        with self._lock:
            self._let_phones_go()
            return self._sessions.get(mark_of(cookie))

    def _let_phones_go(self) -> None:
        """Those whose time is over."""
        before = now_text(timedelta(minutes=PHONE_MINUTES))
        for mark in [mark for mark, one in self._sessions.items() if one.phone and one.started < before]:
            del self._sessions[mark]

    def is_live(self, session_id: str) -> bool:
        with self._lock:
            return any(session.id == session_id for session in self._sessions.values())

    def check_room(self) -> None:
        """Raises Busy where so many are in that nobody else may come."""
        with self._lock:
            if len(self._sessions) >= _MOST_SESSIONS:
                raise Busy("Too many people are in already.", "Ask the host to put someone out.", 60)

    def all(self) -> tuple[Session, ...]:
        """Everyone who is in, first come first."""
        with self._lock:
            self._let_phones_go()
            return tuple(sorted(self._sessions.values(), key=lambda session: session.started))

    def put_out(self, session_id: str) -> Session:
        """End a session for good, from this moment. Raises NotThere."""
        ended = self._end(lambda session: session.id == session_id)
        if not ended:
            raise NotThere(f"person: {session_id[:40]!r} isn't in.", "Load the page again.")
        return ended[0]

    def put_out_link(self, link_id: str) -> int:
        """End every session that came by a link. Says how many."""
        return len(self._end(lambda session: session.link_id == link_id))

    def _end(self, chosen: Callable[[Session], bool]) -> list[Session]:
        with self._lock:
            marks = [mark for mark, session in self._sessions.items() if chosen(session)]
            ended = [self._sessions.pop(mark) for mark in marks]
        self._kept.end(marks)
        return ended


# Crockford's Base32: no I, L, O or U, so that a code can be read out; 8 letters are 40 bits. Where each of the
# 254 addresses of a home network makes two wrong tries a minute, a guess at one of two codes takes 2,000 years.
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOKALIKES = str.maketrans("ILO", "110")
_LENGTH = 8
_MINUTE = 60.0
# Wrong tries a minute: of one address, and of each once there are many from all. Nobody's tries shut the door on
# somebody else's right code.
_TRIES_EACH, _TRIES_PRESSED, _MANY = 6, 2, 30
GUEST_ROLES: tuple[Role, ...] = ("maker", "playtester")


def new_code() -> str:
    """A code as it is shown: ``4K7M-9QXD``."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
    return f"{letters[:4]}-{letters[4:]}"


def plain_code(text: str) -> str:
    """A code as it was typed or pasted: case, spaces, hyphens and look-alike letters make no difference."""
    return "".join(letter for letter in text.upper().translate(_LOOKALIKES) if letter.isalnum())[:40]


class Door:
    """The codes that are good now, and how often anyone has tried. Codes change with every start."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._codes: dict[Role, str] = {role: new_code() for role in GUEST_ROLES}
        self._wrong: dict[str, deque[float]] = {}
        self._wrong_all: deque[float] = deque()

    def code(self, role: Role) -> str:
        with self._lock:
            return self._codes[role]

    def renew(self, role: Role) -> str:
        """A new code for a role; the old one lets no one in any more, and who is in stays in."""
        with self._lock:
            self._codes[role] = new_code()
            return self._codes[role]

    def role_for(self, text: str, address: str) -> Role:
        """The role that a code gives. Raises Refused for a wrong one, Busy after too many of them."""
        given, address = plain_code(text), network_of(address)
        with self._lock:
            self._check_rate(address)
            for role, code in self._codes.items():
                if secrets.compare_digest(given.encode(), plain_code(code).encode()):
                    self._wrong.pop(address, None)
                    return role
            now = self._clock()
            self._wrong.setdefault(address, deque()).append(now)
            self._wrong_all.append(now)
        raise Refused("That isn't the code.", "Look at the host's screen again; the code changes when Lampfold starts.")

    def _check_rate(self, address: str) -> None:
        """Counts wrong tries alone, so that ten people may join at once."""
        now = self._clock()
        for tries in (self._wrong_all, *self._wrong.values()):
            while tries and tries[0] <= now - _MINUTE:
                tries.popleft()
        self._wrong = {who: tries for who, tries in self._wrong.items() if tries}
        own = self._wrong.get(address, deque())
        most = _TRIES_PRESSED if len(self._wrong_all) >= _MANY else _TRIES_EACH
        if len(own) >= most:
            wait = max(1, round(own[-most] + _MINUTE - now))
            raise Busy("Too many wrong codes from here.", f"Wait {wait} seconds, then try again.", wait)


def network_of(address: str) -> str:
    """What one machine may call its own: an IPv4 address, or the /64 that IPv6 gives it (RFC 4291, 2.5.4)."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    mapped = known.ipv4_mapped if isinstance(known, ipaddress.IPv6Address) else None
    if mapped is not None or isinstance(known, ipaddress.IPv4Address):
        return str(mapped or known)
    return str(ipaddress.ip_network((known, 64), strict=False))


# Reached without a session: nothing of any deck is in them.
_OPEN = re.compile(r"/health|/static/.*|/favicon\.ico|/welcome|/join|/link/[^/]+|/phone/[^/]+")
_HOST_ONLY = re.compile(r"/api/(people|links)(/.*)?|/people")
_SAFE = frozenset(("GET", "HEAD", "OPTIONS"))
_DECK = r"[0-9a-f]{1,64}"
# A playtester sees the deck's Glow and build page and gets its PDFs, and changes nothing.
_PLAYTESTER: tuple[tuple[frozenset[str], re.Pattern[str]], ...] = (
    (_SAFE, re.compile(r"/|/true-up|/api/(decks|demo|tables|me|openapi\.json|art/.+|jobs/.+|printers(/.*)?"
                       r"|test-sheet.*|nudge/.+)")),
    (_SAFE, re.compile(rf"/decks/({_DECK})/(glow|output|true-up)"
                       rf"|/api/decks/({_DECK})(/guide|/glow(/.*)?|/releases(/.*)?)?")),
    (frozenset(("POST",)), re.compile(rf"/api/decks/({_DECK})/(plan|builds|glow(/.*)?|releases/[^/]+/change-sheet)")),
    (frozenset(("POST",)), re.compile(r"/api/(fit|read)")),  # keep nothing
    (frozenset(("POST", "PUT", "DELETE")), re.compile(r"/api/printers(/.*)?")),  # the routes see to it: their own alone
    (frozenset(("DELETE",)), re.compile(r"/api/jobs/[^/]+")),
)
# A phone that came by a desk's code reads photographs, and may save the printer that they tell of.
_PHONE: tuple[tuple[frozenset[str], re.Pattern[str]], ...] = (
    (_SAFE, re.compile(r"/true-up|/api/(me|tables|test-sheet.*|printers(/.*)?)")),
    (frozenset(("POST",)), re.compile(r"/api/(fit|read)")),
    (frozenset(("POST", "PUT")), re.compile(r"/api/printers(/[0-9a-f]+/(readings|confirmation))?")),
)
_IN_DECK = re.compile(rf"/(?:api/)?decks/({_DECK})(?:/.*)?")


def is_open(path: str) -> bool:
    """Whether anyone may ask for this path."""
    return _OPEN.fullmatch(path) is not None


def is_safe(method: str) -> bool:
    """Whether a method changes nothing (RFC 9110, 9.2.1)."""
    return method in _SAFE


def may(session: Session, method: str, path: str) -> bool:
    """Whether this person may ask for this. The host may all; a maker all but who else is in; a phone that came by a
    desk's code what it came for."""
    if session.phone:
        return any(method in methods and pattern.fullmatch(path) for methods, pattern in _PHONE)
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
