"""Who is in: sessions, how one starts, and what each role may do.

A session is a random cookie. The database keeps only its SHA-256, so a copy of the database lets no one in. All
live sessions are held in memory too: a request costs no read, and someone who is put out is out at once.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

from server.errors import NotThere
from server.store.database import Database, now_text

Role = Literal["host", "maker", "playtester"]
SESSION_DAYS = 30


def cookie_name(port: int) -> str:
    """Cookies are shared by all ports of a name (RFC 6265, 8.5), so each port has its own."""
    return f"lampfold-{port}"


@dataclass(frozen=True, slots=True)
class Session:
    """One browser that is in. ``id`` is public; ``deck_id`` confines a playtester to one deck; None sees all."""

    id: str
    role: Role
    name: str
    address: str
    deck_id: str | None = None
    link_id: str | None = None
    started: str = ""
    seen: str = ""


def mark_of(secret: str) -> str:
    """What is kept of a secret: enough to know it again, not enough to use it."""
    return hashlib.sha256(secret.encode("utf-8")).hexdigest()


class People:
    """Every live session, and the one-time tokens that start the host's own."""

    def __init__(self, database: Database, on_token_spent: Callable[[], object] = lambda: None) -> None:
        """``on_token_spent`` is called when a launch token has been used, so that the launcher can show a new one."""
        self._database = database
        self.on_token_spent = on_token_spent
        self._lock = threading.Lock()
        self._sessions: dict[str, Session] = {}
        self._tokens: set[str] = set()
        with database.write() as connection:
            connection.execute("UPDATE sessions SET ended = ? WHERE ended IS NULL AND started < ?",
                               (now_text(), now_text(timedelta(days=SESSION_DAYS))))
        with database.read() as connection:
            for row in connection.execute("SELECT * FROM sessions WHERE ended IS NULL"):
                self._sessions[row["mark"]] = Session(row["public_id"], row["role"], row["name"], row["address"],
                                                      row["deck_id"], row["link_id"], row["started"], row["seen"])

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
              link_id: str | None = None) -> tuple[str, Session]:
        """A new session and the cookie that stands for it, kept before it is handed out."""
        cookie, now = secrets.token_urlsafe(32), now_text()
        session = Session(secrets.token_hex(6), role, name, address, deck_id, link_id, now, now)
        with self._database.write() as connection:
            connection.execute("INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
                               (mark_of(cookie), session.id, role, name, address, deck_id, link_id, now, now))
        with self._lock:
            self._sessions[mark_of(cookie)] = session
        return cookie, session

    def find(self, cookie: str) -> Session | None:
        """The live session of a cookie."""
        with self._lock:
            return self._sessions.get(mark_of(cookie))

    def is_live(self, session_id: str) -> bool:
        with self._lock:
            return any(session.id == session_id for session in self._sessions.values())

    def all(self) -> tuple[Session, ...]:
        """Everyone who is in, first come first."""
        with self._lock:
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
        with self._database.write() as connection:
            connection.executemany("UPDATE sessions SET ended = ? WHERE mark = ?",
                                   [(now_text(), mark) for mark in marks])
        return ended
