"""Releases: the packs that were made of a deck, kept in the data folder with the list of what is in them."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.errors import NotThere
from server.store.data_folder import DataFolder
from server.store.database import Database, now_text

_LEFT_SECONDS = 3600.0  # a pack whose row is just being written isn't left over


@dataclass(frozen=True, slots=True)
class ReleaseRow:
    """A release. ``name`` is what its pack is saved as; ``files`` are the members that its manifest lists."""

    id: str
    deck_id: str
    version: str
    made: str
    name: str
    bytes: int
    files: tuple[Mapping[str, Any], ...]


class Releases:
    """The table of releases, and where their packs lie."""

    def __init__(self, database: Database, folder: DataFolder) -> None:
        self._database, self._folder = database, folder

    def path(self, release_id: str) -> Path:
        return self._folder.releases / f"{release_id}.zip"

    def all(self, deck_id: str) -> tuple[ReleaseRow, ...]:
        """The releases of a deck, newest first."""
        with self._database.read() as connection:
            rows = connection.execute("SELECT * FROM releases WHERE deck_id = ? ORDER BY made DESC, rowid DESC",
                                      (deck_id,)).fetchall()
        return tuple(ReleaseRow(row["id"], row["deck_id"], row["version"], row["made"], row["name"], row["bytes"],
                                tuple(json.loads(row["files"]))) for row in rows)

    def get(self, deck_id: str, release_id: str) -> ReleaseRow:
        """Raises NotThere where the deck has no such release, or its pack is gone."""
        found = next((row for row in self.all(deck_id) if row.id == release_id), None)
        if found is None or not self.path(found.id).is_file():
            raise NotThere(f"release: {release_id[:40]!r} isn't kept of this deck.", "Choose one of its releases.")
        return found

    def keep(self, release_id: str, deck_id: str, version: str, pack: Path, name: str,
             files: Sequence[Mapping[str, Any]]) -> ReleaseRow:
        """Take ``pack`` over, which must lie in the data folder. Raises NotThere where the deck is gone."""
        target, made = self.path(release_id), now_text()
        pack.replace(target)
        with self._database.write() as connection:
            if not connection.execute("SELECT 1 FROM decks WHERE id = ?", (deck_id,)).fetchone():
                raise NotThere("deck: it was removed meanwhile.", "Choose another.")
            connection.execute("INSERT INTO releases VALUES (?, ?, ?, ?, ?, ?, ?)",
                               (release_id, deck_id, version, made, name, target.stat().st_size,
                                json.dumps(list(files), ensure_ascii=False)))
        return self.get(deck_id, release_id)

    def remove(self, deck_id: str, release_id: str) -> None:
        """Take a release away for good; it can be made again from its version. Raises NotThere."""
        row = self.get(deck_id, release_id)
        with self._database.write() as connection:
            connection.execute("DELETE FROM releases WHERE id = ?", (row.id,))
        with contextlib.suppress(OSError):  # Windows keeps a file that is being sent; cleaning takes it
            self.path(row.id).unlink()

    def clean(self) -> None:
        """Remove the packs of releases and decks that are gone."""
        with self._database.read() as connection:
            known = {row["id"] for row in connection.execute("SELECT id FROM releases")}
        for pack in self._folder.releases.glob("*.zip"):
            with contextlib.suppress(OSError):
                if pack.stem not in known and pack.stat().st_mtime < time.time() - _LEFT_SECONDS:
                    pack.unlink()
