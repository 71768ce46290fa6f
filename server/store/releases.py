"""Releases: the packs that were made of one or several decks, kept in the data folder with the list of what is in them,
and people's own files for them."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.errors import NotThere, TooMuch
from server.store.data_folder import DataFolder
from server.store.database import Database, now_text
from server.store.names import shown

_LEFT_SECONDS = 3600.0  # a pack whose row is just being written isn't left over


@dataclass(frozen=True, slots=True)
class ReleaseRow:
    """A release. ``name`` is what its pack is saved as; ``files`` are the members that its manifest lists; ``versions``
    says by the decks' ids which version of each is in it, "" where that isn't known."""

    id: str
    deck_id: str
    version: str
    made: str
    name: str
    bytes: int
    files: tuple[Mapping[str, Any], ...]
    versions: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Extra:
    """A file of people's own for a deck's releases."""

    name: str
    key: str
    bytes: int


class Releases:
    """The table of releases, and where their packs lie."""

    def __init__(self, database: Database, folder: DataFolder) -> None:
        self._database, self._folder = database, folder

    def path(self, release_id: str) -> Path:
        return self._folder.releases / f"{release_id}.zip"

    def all(self, deck_id: str) -> tuple[ReleaseRow, ...]:
        """The releases that a deck is in, newest first."""
        with self._database.read() as connection:
            rows = connection.execute(
                "SELECT r.* FROM releases r JOIN release_decks d ON d.release_id = r.id WHERE d.deck_id = ? "
                "ORDER BY r.made DESC, r.rowid DESC", (deck_id,)).fetchall()
            return tuple(ReleaseRow(row["id"], row["deck_id"], row["version"], row["made"], row["name"], row["bytes"],
                                    tuple(json.loads(row["files"])), _versions(connection, row["id"])) for row in rows)

    def latest_names(self) -> dict[str, str]:
        """The version of the newest release of each deck that has one."""
        with self._database.read() as connection:
            rows = connection.execute("SELECT d.deck_id, r.version FROM releases r JOIN release_decks d "
                                      "ON d.release_id = r.id ORDER BY r.made, r.rowid").fetchall()
        return {row["deck_id"]: row["version"] for row in rows}

    def get(self, deck_id: str, release_id: str) -> ReleaseRow:
        """Raises NotThere where the deck is in no such release, or its pack is gone."""
        found = next((row for row in self.all(deck_id) if row.id == release_id), None)
        if found is None or not self.path(found.id).is_file():
            raise NotThere(f"release: {release_id[:40]!r} isn't kept of this deck.", "Choose one of its releases.")
        return found

    def keep(self, release_id: str, versions: Mapping[str, str], version: str, pack: Path, name: str,
             files: Sequence[Mapping[str, Any]]) -> ReleaseRow:
        """Take ``pack`` over, which must lie in the data folder. ``versions`` maps the decks, the first one first, to
        the versions that were packed. Raises NotThere where a deck is gone."""
        target, made = self.path(release_id), now_text()
        pack.replace(target)
        with self._database.write() as connection:
            for deck_id in versions:
                if not connection.execute("SELECT 1 FROM decks WHERE id = ?", (deck_id,)).fetchone():
                    raise NotThere("deck: it was removed meanwhile.", "Choose another.")
            connection.execute("INSERT INTO releases VALUES (?, ?, ?, ?, ?, ?, ?)",
                               (release_id, next(iter(versions)), version, made, name, target.stat().st_size,
                                json.dumps(list(files), ensure_ascii=False)))
            connection.executemany("INSERT INTO release_decks VALUES (?, ?, ?)",
                                   [(release_id, deck_id, one) for deck_id, one in versions.items()])
        return self.get(next(iter(versions)), release_id)

    def remove(self, deck_id: str, release_id: str) -> None:
        """Take a release away for good; it can be made again from its version. Raises NotThere."""
        row = self.get(deck_id, release_id)
        with self._database.write() as connection:
            connection.execute("DELETE FROM releases WHERE id = ?", (row.id,))
        with contextlib.suppress(OSError):  # Windows keeps a file that is being sent; cleaning takes it
            self.path(row.id).unlink()

    def extras(self, deck_id: str) -> tuple[Extra, ...]:
        """The deck's own files for its releases, by name."""
        with self._database.read() as connection:
            return tuple(Extra(*row) for row in connection.execute(
                "SELECT name, key, bytes FROM extras WHERE deck_id = ? ORDER BY name COLLATE NOCASE", (deck_id,)))

    def put_extra(self, deck_id: str, extra: Extra, most: int) -> None:
        """Keep one, in place of its namesake in any case. Raises NotThere for the deck, TooMuch over ``most``."""
        with self._database.write() as connection:
            if not connection.execute("SELECT 1 FROM decks WHERE id = ?", (deck_id,)).fetchone():
                raise NotThere("deck: it was removed meanwhile.", "Choose another.")
            rows = connection.execute("SELECT name FROM extras WHERE deck_id = ?", (deck_id,)).fetchall()
            others = [row["name"] for row in rows if row["name"].casefold() != extra.name.casefold()]
            if len(others) >= most:
                raise TooMuch(f"{extra.name}: this deck has {most} files of its own already.",
                              "Take one away, or put several into one ZIP.")
            connection.execute("INSERT OR IGNORE INTO blobs VALUES (?, ?, ?)", (extra.key, extra.bytes, now_text()))
            connection.execute("INSERT OR IGNORE INTO deck_blobs VALUES (?, ?)", (deck_id, extra.key))
            for name in {row["name"] for row in rows} - set(others):
                connection.execute("DELETE FROM extras WHERE deck_id = ? AND name = ?", (deck_id, name))
            connection.execute("INSERT INTO extras VALUES (?, ?, ?, ?)", (deck_id, extra.name, extra.key, extra.bytes))

    def remove_extra(self, deck_id: str, name: str) -> None:
        """Raises NotThere."""
        with self._database.write() as connection:
            if not connection.execute("DELETE FROM extras WHERE deck_id = ? AND name = ?", (deck_id, name)).rowcount:
                raise NotThere(f"file: {shown(name)} isn't one of this deck's own.", "Load the page again.")

    def clean(self) -> None:
        """Remove the packs of releases and decks that are gone."""
        with self._database.read() as connection:
            known = {row["id"] for row in connection.execute("SELECT id FROM releases")}
        for pack in self._folder.releases.glob("*.zip"):
            with contextlib.suppress(OSError):
                if pack.stem not in known and pack.stat().st_mtime < time.time() - _LEFT_SECONDS:
                    pack.unlink()


def _versions(connection: sqlite3.Connection, release_id: str) -> dict[str, str]:
    return {row["deck_id"]: row["version_id"] for row in connection.execute(
        "SELECT deck_id, version_id FROM release_decks WHERE release_id = ?", (release_id,))}


def copy_extras(old: sqlite3.Connection, new: sqlite3.Connection, deck_id: str, as_id: str) -> None:
    """The deck's own files that aren't there yet, from one database to another; their blobs are."""
    for row in old.execute("SELECT name, key, bytes FROM extras WHERE deck_id = ?", (deck_id,)).fetchall():
        new.execute("INSERT OR IGNORE INTO extras VALUES (?, ?, ?, ?)", (as_id, *tuple(row)))
