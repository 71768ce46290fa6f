"""Printers as they are kept: a name and a JSON profile, each change a revision, deletion undone by restoring."""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.errors import Conflict, NotThere
from server.store.database import Database, now_text


@dataclass(frozen=True, slots=True)
class PrinterRow:
    """A printer at its head revision. ``profile`` is whatever True-up keeps of it, as JSON values. ``owner`` is the
    session of the playtester whose own it is, "" for one that all use."""

    id: str
    name: str
    profile: Mapping[str, Any]
    revision: int
    updated: str
    deleted: str | None
    owner: str = ""

    def is_for(self, session: str) -> bool:
        """Whether that session may know of it."""
        return self.owner in ("", session)


_MOST_BINNED = 100  # deleted printers that can be brought back: those that went last


class Printers:
    """The printer tables. Every method is one transaction."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def all(self, *, deleted: bool = False, session: str = "") -> tuple[PrinterRow, ...]:
        """Printers by name, with those of the playtester's ``session``; with ``deleted`` the deleted ones instead."""
        with self._database.read() as connection:
            rows = connection.execute(
                f"{_SELECT} WHERE (p.deleted_at IS NOT NULL) = ? AND p.owner IN ('', ?) "
                "ORDER BY r.name COLLATE NOCASE, p.id", (deleted, session)).fetchall()
        return tuple(_row(row) for row in rows)

    def readings(self, but: str) -> int:
        """How many readings all printers hold, those in the bin too, the one of the id ``but`` left out."""
        with self._database.read() as connection:
            found = connection.execute(
                "SELECT coalesce(sum(coalesce(json_array_length(r.profile, '$.readings'), 0) "
                "+ coalesce(json_array_length(r.profile, '$.confirmed.readings'), 0)), 0) FROM printers p "
                "JOIN printer_revisions r ON r.printer_id = p.id AND r.number = p.head WHERE p.id <> ?",
                (but,)).fetchone()
        return int(found[0])

    def get(self, printer_id: str) -> PrinterRow:
        """Raises NotThere; a deleted printer is still found, so that a deck made for it can say so."""
        with self._database.read() as connection:
            return _load(connection, printer_id)

    def put(self, name: str, profile: Mapping[str, Any], printer_id: str | None = None,
            expected: int | None = None, owner: str = "") -> PrinterRow:
        """Keep a new printer of ``owner``'s, or a new revision of ``printer_id``. Raises NotThere for an id that isn't
        kept, and Conflict where its revision isn't ``expected`` any more."""
        now = now_text()
        with self._database.write() as connection:
            if printer_id is None:
                printer_id, number = secrets.token_hex(6), 1
                connection.execute("INSERT INTO printers VALUES (?, 1, ?, NULL, ?)", (printer_id, now, owner))
            else:
                if expected is not None and _load(connection, printer_id).revision != expected:
                    raise Conflict(f"printer: {name!r} has been changed meanwhile.", "Look at it as it is now.")
                number = 1 + int(connection.execute(
                    "SELECT coalesce(max(number), 0) FROM printer_revisions WHERE printer_id = ?",
                    (_load(connection, printer_id).id,)).fetchone()[0])
            connection.execute("INSERT INTO printer_revisions VALUES (?, ?, ?, ?, ?)",
                               (printer_id, number, now, name, json.dumps(dict(profile), ensure_ascii=False)))
            connection.execute("UPDATE printers SET head = ?, updated = ? WHERE id = ?", (number, now, printer_id))
            return _load(connection, printer_id)

    def remove(self, printer_id: str) -> PrinterRow:
        return self._mark(printer_id, now_text())

    def restore(self, printer_id: str) -> PrinterRow:
        return self._mark(printer_id, None)

    def undo(self, printer_id: str) -> PrinterRow:
        """Back to the revision before; at the first one nothing changes."""
        with self._database.write() as connection:
            head = _load(connection, printer_id).revision
            before = connection.execute("SELECT max(number) FROM printer_revisions WHERE printer_id = ? AND number < ?",
                                        (printer_id, head)).fetchone()[0]
            if before is not None:
                connection.execute("UPDATE printers SET head = ?, updated = ? WHERE id = ?",
                                   (before, now_text(), printer_id))
            return _load(connection, printer_id)

    def forget_guests(self) -> None:
        """Remove the printers of playtesters who aren't in any more."""
        with self._database.write() as connection:
            connection.execute("DELETE FROM printers WHERE owner != '' AND owner NOT IN "
                               "(SELECT public_id FROM sessions WHERE ended IS NULL)")

    def _mark(self, printer_id: str, when: str | None) -> PrinterRow:
        with self._database.write() as connection:
            _load(connection, printer_id)
            connection.execute("UPDATE printers SET deleted_at = ? WHERE id = ?", (when, printer_id))
            connection.execute("DELETE FROM printers WHERE deleted_at IS NOT NULL AND id NOT IN (SELECT id "
                               "FROM printers WHERE deleted_at IS NOT NULL ORDER BY deleted_at DESC LIMIT ?)",
                               (_MOST_BINNED,))
            return _load(connection, printer_id)


_SELECT = """
SELECT p.id, p.head, p.updated, p.deleted_at, p.owner, r.name, r.profile
FROM printers p JOIN printer_revisions r ON r.printer_id = p.id AND r.number = p.head
"""


def _row(row: sqlite3.Row) -> PrinterRow:
    return PrinterRow(row["id"], row["name"], json.loads(row["profile"]), row["head"], row["updated"],
                      row["deleted_at"], row["owner"])


def _load(connection: sqlite3.Connection, printer_id: str) -> PrinterRow:
    row = connection.execute(f"{_SELECT} WHERE p.id = ?", (printer_id,)).fetchone()
    if row is None:
        raise NotThere(f"printer: {printer_id[:40]!r} isn't kept here.", "Choose one on the True-up page.")
    return _row(row)
