"""All parts of a data folder, opened together, and kept tidy.

``clean`` takes what nobody needs: the bin's old decks, blobs that nothing refers to, packs and pictures of what is
gone. A blob's row goes before its file, so the database never refers to a file that isn't there. A file goes only when
nothing refers to it and nobody has touched it for an hour: an upload that is just being read keeps its own fresh.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from server.errors import BadValue
from server.store.art_records import ArtRecords, Pictures
from server.store.blobs import Blobs
from server.store.data_folder import DataFolder
from server.store.database import Database
from server.store.decks import Decks
from server.store.done import Done
from server.store.guests import Links, Sessions
from server.store.limits import Limits, read_limits
from server.store.printers import Printers
from server.store.releases import Releases
from server.store.versions import Versions


@dataclass(frozen=True)
class Store:
    """Everything kept in one data folder."""

    folder: DataFolder
    limits: Limits
    database: Database
    blobs: Blobs
    decks: Decks
    art: ArtRecords
    versions: Versions
    releases: Releases
    pictures: Pictures
    printers: Printers
    sessions: Sessions
    links: Links
    done: Done

    @classmethod
    def open(cls, root: Path, limits: Limits | None = None, *, locked: bool = True) -> Store:
        """Open a data folder, made where it is missing. ``locked`` keeps every other server out of it.

        Raises StoreTrouble where the folder can't be used or another process has it, BadValue for a bad limit.
        """
        folder = DataFolder(root)
        if locked:
            folder.lock()
            folder.clear_incoming()
        try:
            limits = limits or read_limits(root, os.environ)
            database = Database(folder.database)
        except (OSError, BadValue):
            folder.unlock()
            raise
        return cls(folder, limits, database, Blobs(folder), Decks(database, limits.decks), ArtRecords(database),
                   Versions(database), Releases(database, folder), Pictures(database), Printers(database),
                   Sessions(database), Links(database), Done(database))

    def close(self) -> None:
        self.database.close()
        self.folder.unlock()


_LEFT_SECONDS = 24 * 3600.0  # what has lain half-written for a day belongs to nobody


@dataclass(frozen=True, slots=True)
class Cleaned:
    """How much went."""

    decks: int
    blobs: int
    pictures: int


def clean(store: Store) -> Cleaned:
    """One round. Safe while others upload, edit and build."""
    decks = store.decks.empty_bin()
    store.versions.empty_bin()
    store.releases.clean()
    store.printers.forget_guests()
    store.done.clean()
    _forget_old_references(store.database)
    _forget_unused_blobs(store.database)
    with store.database.read() as connection:
        known = {row["key"] for row in connection.execute("SELECT key FROM blobs")}
    blobs = sum(store.blobs.remove_if_old(key) for key in list(store.blobs.keys()) if key not in known)
    store.folder.clear_incoming(_LEFT_SECONDS)
    return Cleaned(decks, blobs, _remove_pictures(store, known))


def _forget_old_references(database: Database) -> None:
    """Drop what only revisions referred to that are no longer kept. One deck at a time, so that nobody waits long."""
    with database.read() as connection:
        decks = [row["id"] for row in connection.execute("SELECT id FROM decks")]
    for deck_id in decks:
        with database.write() as connection:
            connection.execute(
                "DELETE FROM deck_blobs WHERE deck_id = ? AND key NOT IN "
                "(SELECT key FROM deck_files WHERE deck_id = ?) AND key NOT IN (SELECT f.key FROM version_files f "
                "JOIN versions v ON v.id = f.version_id WHERE v.deck_id = ?) AND key NOT IN "
                "(SELECT key FROM extras WHERE deck_id = ?)", (deck_id,) * 4)


def _forget_unused_blobs(database: Database) -> None:
    with database.write() as connection:
        connection.execute("DELETE FROM blobs WHERE NOT EXISTS "
                           "(SELECT 1 FROM deck_blobs WHERE deck_blobs.key = blobs.key)")


def _remove_pictures(store: Store, known: set[str]) -> int:
    """Thumbnails are made again where they are asked for, so losing one costs only time."""
    count = 0
    for path in store.folder.thumbs.rglob("*.webp"):
        if path.name.split("-")[0] not in known:
            with contextlib.suppress(OSError):
                path.unlink()
                count += 1
    return count
