"""Versions: what a deck was at one moment, kept under a name as long as the deck, apart from its revisions."""

from __future__ import annotations

import hashlib
import json
import secrets
import sqlite3
from dataclasses import astuple, dataclass, replace
from datetime import timedelta

from server import __version__
from server.core.settings import OWN_PRINTING, SETTINGS, DeckSettings
from server.errors import BadValue, NotThere, TooMuch
from server.store.database import Database, now_text
from server.store.deck_state import DeckFile, DeckState, read_state
from server.store.names import clean_name, shown

BIN_DAYS = 30
_MOST = 200


@dataclass(frozen=True, slots=True)
class VersionRow:
    """A version on the list. ``cards`` are those to print, copies counted; ``removed`` is when it was taken off."""

    id: str
    deck_id: str
    name: str
    made: str
    cards: int
    removed: str | None


class Versions:
    """The version tables. Every method is one transaction."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def all(self, deck_id: str) -> tuple[VersionRow, ...]:
        """The versions of a deck that haven't been removed, latest first."""
        with self._database.read() as connection:
            rows = connection.execute(f"{_SELECT} WHERE deck_id = ? AND removed_at IS NULL "
                                      "ORDER BY made DESC, rowid DESC", (deck_id,)).fetchall()
        return tuple(VersionRow(*row) for row in rows)

    def latest_names(self) -> dict[str, str]:
        """The name of the latest version of each deck that has one."""
        with self._database.read() as connection:
            rows = connection.execute("SELECT deck_id, name FROM versions WHERE removed_at IS NULL "
                                      "ORDER BY made, rowid").fetchall()
        return {row["deck_id"]: row["name"] for row in rows}

    def get(self, deck_id: str, version_id: str) -> VersionRow:
        """Raises NotThere; one that was removed is still found."""
        with self._database.read() as connection:
            return _load(connection, deck_id, version_id)

    def state(self, deck_id: str, version_id: str) -> DeckState:
        """What the deck was. Raises NotThere."""
        with self._database.read() as connection:
            _load(connection, deck_id, version_id)
            return _state(connection, version_id)

    def keep(self, deck_id: str, name: str, state: DeckState, cards: int, who: str) -> VersionRow:
        """Keep ``state`` under ``name``. Raises BadValue for a name that won't do or is taken, TooMuch for too many."""
        version_id = secrets.token_hex(8)
        with self._database.write() as connection:
            name = _free_name(connection, deck_id, name)
            count = connection.execute("SELECT count(*) FROM versions WHERE deck_id = ? AND removed_at IS NULL",
                                       (deck_id,)).fetchone()[0]
            if count >= _MOST:
                raise TooMuch(f"versions: this deck has {_MOST} already.", "Remove some that nobody needs.")
            connection.execute("INSERT INTO versions VALUES (?, ?, ?, ?, ?, ?, ?, NULL, ?)",
                               (version_id, deck_id, name, who, now_text(), cards, state.to_json(), _mark(state)))
            connection.executemany("INSERT INTO version_files VALUES (?, ?, ?, ?, ?, ?)",
                                   [(version_id, place, *astuple(file)) for place, file in enumerate(state.files)])
            return _load(connection, deck_id, version_id)

    def change(self, deck_id: str, version_id: str, name: str | None = None,
               removed: bool | None = None) -> VersionRow:
        """Rename a version, take it off the list, or put it back. Raises NotThere, BadValue."""
        with self._database.write() as connection:
            row = _load(connection, deck_id, version_id)
            if name is not None and name != row.name:
                connection.execute("UPDATE versions SET name = ? WHERE id = ?",
                                   (_free_name(connection, deck_id, name, version_id), version_id))
            if removed is not None and removed != (row.removed is not None):
                if not removed:
                    _free_name(connection, deck_id, name or row.name, version_id)
                connection.execute("UPDATE versions SET removed_at = ? WHERE id = ?",
                                   (now_text() if removed else None, version_id))
            return _load(connection, deck_id, version_id)

    def named_as(self, deck_id: str, state: DeckState) -> str:
        """The name of the latest version that is just this, "" where none is."""
        with self._database.read() as connection:
            rows = connection.execute("SELECT id, name, mark FROM versions WHERE deck_id = ? AND removed_at IS NULL "
                                      "ORDER BY made DESC, rowid DESC", (deck_id,)).fetchall()
        if not rows:
            return ""
        fresh = self._marked([row["id"] for row in rows if not row["mark"].startswith(_MADE_BY)])
        mark = _mark(state)
        return next((row["name"] for row in rows if fresh.get(row["id"], row["mark"]) == mark), "")

    def _marked(self, version_ids: list[str]) -> dict[str, str]:
        """Marks for versions that an older Lampfold kept, which are kept from now on."""
        if not version_ids:
            return {}
        with self._database.write() as connection:
            marks = {one: _mark(_state(connection, one)) for one in version_ids}
            connection.executemany("UPDATE versions SET mark = ? WHERE id = ?",
                                   [(mark, one) for one, mark in marks.items()])
        return marks

    def empty_bin(self, older_than: timedelta = timedelta(days=BIN_DAYS)) -> int:
        """Remove for good what was taken off the list longer ago, but what is released still. Says how many went."""
        with self._database.write() as connection:
            return connection.execute("DELETE FROM versions WHERE removed_at < ? AND id NOT IN "
                                      "(SELECT version_id FROM release_decks)", (now_text(older_than),)).rowcount


_SELECT = "SELECT id, deck_id, name, made, cards, removed_at FROM versions"


_MADE_BY = f"{__version__} {len(SETTINGS)} "  # with other settings a state reads otherwise


def _mark(state: DeckState) -> str:
    """What makes a state that very deck: its files in any order, and all but its name and what printer and paper at
    hand ask for."""
    own = {name: getattr(DeckSettings(), name) for name in OWN_PRINTING}
    beside = replace(state, name="", settings=replace(state.settings, **own)).to_json()
    whole = json.dumps([beside, sorted((file.path, file.key, file.bytes, file.modified) for file in state.files)])
    return _MADE_BY + hashlib.sha256(whole.encode()).hexdigest()


def _load(connection: sqlite3.Connection, deck_id: str, version_id: str) -> VersionRow:
    row = connection.execute(f"{_SELECT} WHERE id = ? AND deck_id = ?", (version_id, deck_id)).fetchone()
    if row is None:
        raise NotThere(f"version: {version_id[:40]!r} isn't kept of this deck.", "Choose one of its versions.")
    return VersionRow(*row)


def _state(connection: sqlite3.Connection, version_id: str) -> DeckState:
    files = connection.execute("SELECT path, key, bytes, modified FROM version_files WHERE version_id = ? "
                               "ORDER BY place", (version_id,))
    text = connection.execute("SELECT state FROM versions WHERE id = ?", (version_id,)).fetchone()["state"]
    return read_state(text, tuple(DeckFile(*row) for row in files))


def _free_name(connection: sqlite3.Connection, deck_id: str, text: str, own: str = "") -> str:
    """The name, cleaned. Raises BadValue where it won't do, or another version of the deck has it."""
    name = clean_name(text)
    taken = connection.execute("SELECT name FROM versions WHERE deck_id = ? AND id <> ? AND removed_at IS NULL",
                               (deck_id, own)).fetchall()
    if name.casefold() in {row["name"].casefold() for row in taken}:
        raise BadValue(f"name: {shown(name)} is a version of this deck already.", "Give another name.")
    return name


def copy_versions(old: sqlite3.Connection, new: sqlite3.Connection, deck_id: str, as_id: str) -> int:
    """All versions of a deck that aren't there yet, from one database to another. Says how many."""
    count = 0
    for row in old.execute("SELECT * FROM versions WHERE deck_id = ? ORDER BY made", (deck_id,)).fetchall():
        version_id = row["id"] if as_id == deck_id else secrets.token_hex(8)
        if new.execute("SELECT 1 FROM versions WHERE id = ?", (version_id,)).fetchone():
            continue
        new.execute("INSERT INTO versions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", (version_id, as_id, *tuple(row)[2:]))
        files = old.execute("SELECT * FROM version_files WHERE version_id = ?", (row["id"],)).fetchall()
        new.executemany("INSERT INTO version_files VALUES (?, ?, ?, ?, ?, ?)",
                        [(version_id, *tuple(file)[1:]) for file in files])
        count += 1
    return count
