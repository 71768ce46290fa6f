"""The files of every revision of a deck, each a row that says from which revision on it was there and up to which.

So a revision that adds one file writes one row, however many files the deck has.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import astuple

from server.store.deck_state import DeckFile

_PAGES = "max(1, coalesce((SELECT json_array_length(record, '$.arts') FROM art WHERE key = ?), 1))"
# Of one revision (:number) of a deck (:deck).
_THERE = "deck_id = :deck AND since <= :number AND (gone IS NULL OR gone > :number)"


def files_at(connection: sqlite3.Connection, deck_id: str, number: int) -> tuple[DeckFile, ...]:
    """The files of a revision, in the order in which they came."""
    rows = connection.execute(f"SELECT path, key, bytes, modified FROM deck_files WHERE {_THERE} ORDER BY id",
                              {"deck": deck_id, "number": number})
    return tuple(DeckFile(*row) for row in rows)


def file_at(connection: sqlite3.Connection, deck_id: str, number: int, path: str) -> DeckFile | None:
    row = connection.execute(f"SELECT path, key, bytes, modified FROM deck_files WHERE {_THERE} AND path = :path",
                             {"deck": deck_id, "number": number, "path": path}).fetchone()
    return DeckFile(*row) if row else None


def twin_of(connection: sqlite3.Connection, deck_id: str, number: int, file: DeckFile) -> str | None:
    """The path of a file of the same bytes: this one itself where it has them already, else the first other."""
    row = connection.execute(f"SELECT path FROM deck_files WHERE {_THERE} AND key = :key "
                             "ORDER BY path <> :path, id LIMIT 1",
                             {"deck": deck_id, "number": number, "key": file.key, "path": file.path}).fetchone()
    return str(row["path"]) if row else None


def room_taken(connection: sqlite3.Connection, deck_id: str, number: int, without: str) -> tuple[int, int]:
    """(files with every page counted, bytes) of a revision, the file at the path ``without`` left out."""
    row = connection.execute(f"SELECT coalesce(sum(pages), 0), coalesce(sum(bytes), 0) FROM deck_files WHERE {_THERE} "
                             "AND path <> :path", {"deck": deck_id, "number": number, "path": without}).fetchone()
    return int(row[0]), int(row[1])


def put_files(connection: sqlite3.Connection, deck_id: str, number: int, gone: Iterable[str],
              added: Iterable[DeckFile]) -> None:
    """Make revision ``number``, the latest, lack the paths ``gone`` and have ``added``, each in place of its like."""
    put = tuple(added)
    for path in (*gone, *(file.path for file in put)):
        # What came in this very revision was never seen without what replaces it.
        connection.execute("DELETE FROM deck_files WHERE deck_id = ? AND path = ? AND gone IS NULL AND since = ?",
                           (deck_id, path, number))
        connection.execute("UPDATE deck_files SET gone = ? WHERE deck_id = ? AND path = ? AND gone IS NULL",
                           (number, deck_id, path))
    connection.executemany("INSERT INTO deck_files (deck_id, path, key, bytes, modified, since, pages) "
                           f"VALUES (?, ?, ?, ?, ?, ?, {_PAGES})",
                           [(deck_id, *astuple(file), number, file.key) for file in put])


def forget_after(connection: sqlite3.Connection, deck_id: str, number: int) -> None:
    """Revisions after ``number`` have gone."""
    connection.execute("DELETE FROM deck_files WHERE deck_id = ? AND since > ?", (deck_id, number))
    connection.execute("UPDATE deck_files SET gone = NULL WHERE deck_id = ? AND gone > ?", (deck_id, number))


def forget_up_to(connection: sqlite3.Connection, deck_id: str, number: int) -> None:
    """Revisions up to ``number`` have gone."""
    connection.execute("DELETE FROM deck_files WHERE deck_id = ? AND gone <= ?", (deck_id, number + 1))


def copy_files(old: sqlite3.Connection, new: sqlite3.Connection, deck_id: str, as_id: str) -> None:
    """All rows of a deck from one database to another."""
    rows = old.execute("SELECT path, key, bytes, modified, since, gone, pages FROM deck_files WHERE deck_id = ? "
                       "ORDER BY id", (deck_id,)).fetchall()
    new.executemany("INSERT INTO deck_files (deck_id, path, key, bytes, modified, since, gone, pages) "
                    "VALUES (?, ?, ?, ?, ?, ?, ?, ?)", [(as_id, *row) for row in rows])
