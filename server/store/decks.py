"""Decks: each change adds a revision, undo and redo move the head, and a deleted deck lies in the bin for 30 days."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta

from server.errors import Conflict, NotThere, TooMuch
from server.store.art_records import ArtRecord
from server.store.database import Database, now_text
from server.store.deck_files import file_at, files_at, forget_after, forget_up_to, put_files, room_taken, twin_of
from server.store.deck_state import DeckFile, DeckState, read_state

BIN_DAYS = 30
_KEPT_REVISIONS = 300
# Files of one drop arrive one by one; so many seconds apart at most, they are one step to undo.
_ONE_DROP = timedelta(seconds=60)
UPLOAD = "upload"
# A folder that is put in place of the one before: files that follow belong to its step.
FOLDER = "folder"


@dataclass(frozen=True, slots=True)
class DeckRow:
    """A deck at its head revision. ``version`` grows with every change; ``deleted`` is when it went to the bin."""

    id: str
    state: DeckState
    version: int
    can_undo: bool
    can_redo: bool
    updated: str
    deleted: str | None


@dataclass(frozen=True, slots=True)
class KeptBlob:
    """A blob that a change brings along: already on the disk, with what was read in it (None for a deck list)."""

    key: str
    bytes: int
    record: ArtRecord | None


class Decks:
    """The deck tables. Every method is one transaction."""

    def __init__(self, database: Database, most: int) -> None:
        self._database = database
        self._most = most

    def all(self) -> tuple[DeckRow, ...]:
        """Every deck, the bin's too, latest first."""
        with self._database.read() as connection:
            rows = connection.execute(f"{_SELECT} ORDER BY d.updated DESC, d.id").fetchall()
            return tuple(_row(connection, row) for row in rows)

    def get(self, deck_id: str, *, binned: bool = False) -> DeckRow:
        """Raises NotThere for a deck that isn't kept, or is in the bin unless ``binned``."""
        with self._database.read() as connection:
            return _load(connection, deck_id, binned)

    def create(self, state: DeckState, who: str, blobs: Iterable[KeptBlob] = ()) -> DeckRow:
        """Raises TooMuch where the host's limit of decks is reached."""
        deck_id, now = secrets.token_hex(8), now_text()
        with self._database.write() as connection:
            count = int(connection.execute("SELECT count(*) FROM decks").fetchone()[0])
            if count >= self._most:
                raise TooMuch(f"decks: {self._most} are kept here already, the limit of this host.",
                              "Delete decks that are no longer needed, or raise the limit `decks`.")
            connection.execute("INSERT INTO decks VALUES (?, 1, 1, ?, ?, NULL)", (deck_id, now, now))
            connection.execute("INSERT INTO revisions VALUES (?, 1, 'new', ?, ?, ?)",
                               (deck_id, who, now, state.to_json()))
            _keep_blobs(connection, deck_id, blobs)
            put_files(connection, deck_id, 1, (), state.files)
            return _load(connection, deck_id, False)

    def change(self, deck_id: str, how: Callable[[DeckState], DeckState], *, who: str, kind: str = "edit",
               expected: int | None = None, blobs: Iterable[KeptBlob] = (),
               check: Callable[[int, int], None] = lambda count, size: None) -> DeckRow:
        """Put ``how`` to the deck's state. With ``expected``, raises Conflict if the version isn't that any more.
        ``check`` is told what the deck then holds, as for ``put_file``.

        ``how`` runs inside the transaction, so what it checks still holds when its result is kept.
        """
        with self._database.write() as connection:
            row = _load(connection, deck_id, False)
            if expected is not None and row.version != expected:
                raise Conflict(f"deck: {row.state.name!r} has been changed meanwhile.",
                               "Look at the newer version, then save again.")
            state = how(row.state)
            _keep_blobs(connection, deck_id, blobs)
            if state == row.state and kind != FOLDER:
                return row
            number = _add_revision(connection, deck_id, who, kind, state.to_json())
            before, after = set(row.state.files), {file.path for file in state.files}
            put_files(connection, deck_id, number, [file.path for file in row.state.files if file.path not in after],
                      [file for file in state.files if file not in before])
            check(*room_taken(connection, deck_id, number, ""))
            return _load(connection, deck_id, False)

    def room_taken(self, deck_id: str, path: str) -> tuple[int, int]:
        """(files with every page counted, bytes) of the deck without the file at ``path``. Raises NotThere."""
        with self._database.read() as connection:
            return room_taken(connection, deck_id, _head(connection, deck_id), path)

    def put_file(self, deck_id: str, file: DeckFile, blob: KeptBlob, check: Callable[[int, int], None],
                 who: str) -> tuple[int, str | None]:
        """Put one file in, in place of its like, at a cost that doesn't grow with the deck.

        ``check`` is told how many files and bytes the deck then has, and raises where that is too much.
        Returns (the deck's version, the path of a file that had the same bytes before).
        """
        with self._database.write() as connection:
            head = _head(connection, deck_id)
            count, size = room_taken(connection, deck_id, head, file.path)
            check(count + max(1, len(blob.record.arts) if blob.record else 1), size + file.bytes)
            twin = twin_of(connection, deck_id, head, file)
            _keep_blobs(connection, deck_id, [blob])
            if file_at(connection, deck_id, head, file.path) != file:
                put_files(connection, deck_id, _add_revision(connection, deck_id, who, UPLOAD), (), [file])
            version = connection.execute("SELECT version FROM decks WHERE id = ?", (deck_id,)).fetchone()[0]
            return int(version), twin

    def undo(self, deck_id: str) -> DeckRow:
        """Back to the revision before; at the first one nothing changes."""
        return self._move(deck_id, "SELECT max(number) FROM revisions WHERE deck_id = ? AND number < ?")

    def redo(self, deck_id: str) -> DeckRow:
        """On to the revision after; at the last one nothing changes."""
        return self._move(deck_id, "SELECT min(number) FROM revisions WHERE deck_id = ? AND number > ?")

    def _move(self, deck_id: str, query: str) -> DeckRow:
        with self._database.write() as connection:
            _load(connection, deck_id, False)
            head = connection.execute("SELECT head FROM decks WHERE id = ?", (deck_id,)).fetchone()[0]
            target = connection.execute(query, (deck_id, head)).fetchone()[0]
            if target is not None:
                connection.execute("UPDATE decks SET head = ?, version = version + 1, updated = ? WHERE id = ?",
                                   (target, now_text(), deck_id))
            return _load(connection, deck_id, False)

    def remove(self, deck_id: str) -> DeckRow:
        """To the bin."""
        return self._bin(deck_id, now_text())

    def restore(self, deck_id: str) -> DeckRow:
        """Out of the bin; a deck that isn't in it stays as it is."""
        return self._bin(deck_id, None)

    def _bin(self, deck_id: str, when: str | None) -> DeckRow:
        with self._database.write() as connection:
            _load(connection, deck_id, True)
            connection.execute("UPDATE decks SET deleted_at = ? WHERE id = ?", (when, deck_id))
            return _load(connection, deck_id, True)

    def empty_bin(self, older_than: timedelta = timedelta(days=BIN_DAYS)) -> int:
        """Remove for good what has lain in the bin for longer. Says how many decks went."""
        with self._database.write() as connection:
            return connection.execute("DELETE FROM decks WHERE deleted_at IS NOT NULL AND deleted_at < ?",
                                      (now_text(older_than),)).rowcount

    def points_to(self, deck_id: str, key: str) -> bool:
        """Whether any revision of the deck has a file with these bytes."""
        with self._database.read() as connection:
            return connection.execute("SELECT 1 FROM deck_blobs WHERE deck_id = ? AND key = ?",
                                      (deck_id, key)).fetchone() is not None

    def storage(self) -> tuple[int, int]:
        """(bytes of all art kept, decks that aren't in the bin)."""
        with self._database.read() as connection:
            total = connection.execute("SELECT coalesce(sum(bytes), 0) FROM blobs").fetchone()[0]
            decks = connection.execute("SELECT count(*) FROM decks WHERE deleted_at IS NULL").fetchone()[0]
        return int(total), int(decks)


_SELECT = """
SELECT d.id, d.version, d.head, d.updated, d.deleted_at, r.state,
    EXISTS (SELECT 1 FROM revisions u WHERE u.deck_id = d.id AND u.number < d.head) AS can_undo,
    EXISTS (SELECT 1 FROM revisions u WHERE u.deck_id = d.id AND u.number > d.head) AS can_redo
FROM decks d JOIN revisions r ON r.deck_id = d.id AND r.number = d.head
"""


def _row(connection: sqlite3.Connection, row: sqlite3.Row) -> DeckRow:
    state = read_state(row["state"], files_at(connection, row["id"], row["head"]))
    return DeckRow(row["id"], state, row["version"], bool(row["can_undo"]), bool(row["can_redo"]), row["updated"],
                   row["deleted_at"])


def _load(connection: sqlite3.Connection, deck_id: str, binned: bool) -> DeckRow:
    row = connection.execute(f"{_SELECT} WHERE d.id = ?", (deck_id,)).fetchone()
    return _row(connection, _there(row, deck_id, binned))


def _head(connection: sqlite3.Connection, deck_id: str) -> int:
    """The number of the revision that is shown, of a deck that isn't in the bin."""
    row = connection.execute("SELECT head, deleted_at FROM decks WHERE id = ?", (deck_id,)).fetchone()
    return int(_there(row, deck_id, False)["head"])


def _there(row: sqlite3.Row | None, deck_id: str, binned: bool) -> sqlite3.Row:
    if row is None or (row["deleted_at"] is not None and not binned):
        where = "is in the bin" if row is not None else "isn't kept here"
        raise NotThere(f"deck: {deck_id[:40]!r} {where}.", "Go to the Desk and choose a deck there.")
    return row


def _add_revision(connection: sqlite3.Connection, deck_id: str, who: str, kind: str, state: str | None = None) -> int:
    """A revision after the head, or the head itself for the next file of one drop; returns its number.

    Without a ``state`` it keeps the head's.
    """
    head = connection.execute(
        "SELECT r.number, r.kind, r.who, r.made FROM decks d JOIN revisions r ON r.deck_id = d.id "
        "AND r.number = d.head WHERE d.id = ?", (deck_id,)).fetchone()
    now, number = now_text(), int(head["number"])
    if connection.execute("DELETE FROM revisions WHERE deck_id = ? AND number > ?", (deck_id, number)).rowcount:
        forget_after(connection, deck_id, number)
    follows = kind == UPLOAD and head["kind"] in (UPLOAD, FOLDER)
    if follows and head["who"] == who and head["made"] >= now_text(_ONE_DROP):
        connection.execute("UPDATE revisions SET made = ?, state = coalesce(?, state) WHERE deck_id = ? AND number = ?",
                           (now, state, deck_id, number))
    else:
        connection.execute("INSERT INTO revisions SELECT deck_id, number + 1, ?, ?, ?, coalesce(?, state) "
                           "FROM revisions WHERE deck_id = ? AND number = ?", (kind, who, now, state, deck_id, number))
        number += 1
        oldest = number - _KEPT_REVISIONS
        if connection.execute("DELETE FROM revisions WHERE deck_id = ? AND number <= ?", (deck_id, oldest)).rowcount:
            forget_up_to(connection, deck_id, oldest)
    connection.execute("UPDATE decks SET head = ?, version = version + 1, updated = ? WHERE id = ?",
                       (number, now, deck_id))
    return number


def _keep_blobs(connection: sqlite3.Connection, deck_id: str, blobs: Iterable[KeptBlob]) -> None:
    for blob in blobs:
        connection.execute("INSERT OR IGNORE INTO blobs VALUES (?, ?, ?)", (blob.key, blob.bytes, now_text()))
        connection.execute("INSERT OR IGNORE INTO deck_blobs VALUES (?, ?)", (deck_id, blob.key))
        if blob.record is not None:
            connection.execute("INSERT OR REPLACE INTO art VALUES (?, ?)", (blob.key, blob.record.to_json()))
