"""Who is in and by which links, as it is kept: of a cookie's or a link's secret its SHA-256 alone, so a copy of the
database lets no one in.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

from server.errors import NotThere
from server.store.database import Database, now_text

Role = Literal["host", "maker", "playtester"]
SESSION_DAYS = 30


@dataclass(frozen=True, slots=True)
class Session:
    """One browser that is in. ``id`` is public; ``deck_id`` confines a playtester to one deck; None sees all. A
    ``phone`` came by a desk's code to photograph test sheets: it may do that alone, is never kept and soon out."""

    id: str
    role: Role
    name: str
    address: str
    deck_id: str | None = None
    link_id: str | None = None
    started: str = ""
    seen: str = ""
    phone: bool = False


@dataclass(frozen=True, slots=True)
class Link:
    """A link to one deck; ``ended`` is when it was withdrawn."""

    id: str
    deck_id: str
    made: str
    ended: str | None


def mark_of(secret: str) -> str:
    """What is kept of a secret: enough to know it again, not enough to use it."""
    return hashlib.sha256(secret.encode("utf-8")).hexdigest()


class Sessions:
    """The sessions table."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def live(self) -> dict[str, Session]:
        """Every session that is good, by its cookie's mark; those that have lasted too long end here."""
        with self._database.write() as connection:
            connection.execute("UPDATE sessions SET ended = ? WHERE ended IS NULL AND started < ?",
                               (now_text(), now_text(timedelta(days=SESSION_DAYS))))
            rows = connection.execute("SELECT * FROM sessions WHERE ended IS NULL").fetchall()
        return {row["mark"]: Session(row["public_id"], row["role"], row["name"], row["address"], row["deck_id"],
                                     row["link_id"], row["started"], row["seen"]) for row in rows}

    def add(self, mark: str, session: Session) -> None:
        with self._database.write() as connection:
            connection.execute("INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
                               (mark, session.id, session.role, session.name, session.address, session.deck_id,
                                session.link_id, session.started, session.seen))

    def end(self, marks: Iterable[str]) -> None:
        with self._database.write() as connection:
            connection.executemany("UPDATE sessions SET ended = ? WHERE mark = ?",
                                   [(now_text(), mark) for mark in marks])


class Links:
    """The links table: links that show one deck to playtesters."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def make(self, deck_id: str) -> tuple[str, Link]:
        """(the secret, which is shown this once, the link)."""
        secret, link = secrets.token_urlsafe(18), Link(secrets.token_hex(6), deck_id, now_text(), None)
        with self._database.write() as connection:
            connection.execute("INSERT INTO links VALUES (?, ?, ?, ?, NULL)",
                               (link.id, mark_of(secret), deck_id, link.made))
        return secret, link

    def find(self, secret: str) -> Link:
        """The link of a secret. Raises NotThere for one that was never made or has been withdrawn."""
        with self._database.read() as connection:
            row = connection.execute("SELECT * FROM links WHERE mark = ? AND ended IS NULL",
                                     (mark_of(secret),)).fetchone()
        if row is None:
            raise NotThere("This link isn't good any more.", "Ask the host for a new one.")
        return Link(row["id"], row["deck_id"], row["made"], row["ended"])

    def all(self) -> tuple[Link, ...]:
        """Links that are good, latest first."""
        with self._database.read() as connection:
            rows = connection.execute("SELECT * FROM links WHERE ended IS NULL ORDER BY made DESC, id").fetchall()
        return tuple(Link(row["id"], row["deck_id"], row["made"], row["ended"]) for row in rows)

    def withdraw(self, link_id: str) -> None:
        """Raises NotThere."""
        with self._database.write() as connection:
            count = connection.execute("UPDATE links SET ended = ? WHERE id = ? AND ended IS NULL",
                                       (now_text(), link_id)).rowcount
        if not count:
            raise NotThere(f"link: {link_id[:40]!r} isn't there.", "Load the page again.")
