"""Links that show one deck to playtesters: made and withdrawn by the host. Only a link's SHA-256 is kept."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from server.errors import NotThere
from server.store.database import Database, now_text
from server.web.people import mark_of


@dataclass(frozen=True, slots=True)
class Link:
    """A link to one deck; ``ended`` is when it was withdrawn."""

    id: str
    deck_id: str
    made: str
    ended: str | None


class Links:
    """The links table."""

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
